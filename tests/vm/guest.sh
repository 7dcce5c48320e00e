#!/bin/bash
# In the guest: installs the wheels as on a Pi, then every case, the power cut last.
set -euo pipefail
sh /host/systemd/install --wheels /host/wheels --no-page
cp /host/hang.py /host/waaler_hang.pth "$(/opt/waaler/current/bin/python -c 'import site; print(site.getsitepackages()[0])')/"
exec python3 /host/cases.py

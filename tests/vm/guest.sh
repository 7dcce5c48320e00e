#!/bin/bash
# In the guest: installs the wheel as on a Pi, then every case, the power cut last.
set -euo pipefail
python3 -m venv /opt/waaler
/opt/waaler/bin/pip install -q --no-index --find-links /host/wheels 'waaler[pi]'
cp /host/hang.py /host/waaler_hang.pth "$(/opt/waaler/bin/python -c 'import site; print(site.getsitepackages()[0])')/"
cp '/host/waaler@.service' /etc/systemd/system/
cp /host/waaler.conf /usr/lib/sysusers.d/
systemd-sysusers
mkdir -p /etc/waaler
exec python3 /host/cases.py

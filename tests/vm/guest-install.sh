#!/bin/bash
# In the guest: what the installer and the service manager do, up to a reboot.
set -euo pipefail
exec python3 /host/install_cases.py

#!/bin/bash
# In the guest, after the reboot.
set -euo pipefail
exec python3 /host/after_reboot.py

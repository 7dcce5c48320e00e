#!/bin/bash
# In the guest, at the boot after the power cut.
set -euo pipefail
exec python3 /host/after_cut.py

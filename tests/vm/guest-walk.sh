#!/bin/bash
# In the guest: a venv from the wheels, SPI and I2C chips, then the walk.
set -euo pipefail
python3 -m venv /opt/w
/opt/w/bin/pip install -q --no-index --find-links /host/wheels 'waaler[pi]'
modprobe mcp3008_sim counts=512,0,0,0,0,0,0,0
modprobe i2c-stub chip_addr=0x48
modprobe i2c-dev || true
bus=$(ls -d /sys/class/i2c-dev/i2c-* | tail -n 1); bus=${bus##*-}
[[ -e /dev/i2c-1 ]] || ln -s "/dev/i2c-$bus" /dev/i2c-1
/opt/w/bin/python - <<'PY'
from smbus2 import SMBus
SMBus(1).write_byte_data(0x48, 0, 0x4E)
PY
mkdir -p /run/user-waaler /host/out
cd /run/user-waaler
export XDG_RUNTIME_DIR=/run/user-waaler XDG_STATE_HOME=/var/lib/user-waaler LG_WD=/run/user-waaler
exec env PYTHONPATH=/rig:/host /opt/w/bin/python /host/walk_cases.py

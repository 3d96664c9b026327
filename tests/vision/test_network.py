"""Running the model files leaves no files behind."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_running_a_network_leaves_nothing_in_the_users_home(tmp_path: Path) -> None:
    program = (
        "import time, numpy as np; from vision.face.outline_network import PLANES, outline_logits\n"
        "assert outline_logits(np.zeros((PLANES, 64, 64), np.float32)).shape == (64, 64)\n"
        "time.sleep(0.5)\n"
    )
    environment = {**os.environ, "HOME": str(tmp_path), "USERPROFILE": str(tmp_path), "PYTHONPATH": str(ROOT)}
    environment |= {name: str(tmp_path) for name in environment if name.startswith("XDG_")}
    environment.pop("ORT_DISABLE_TELEMETRY", None)
    subprocess.run([sys.executable, "-c", program], check=True, env=environment, timeout=120)
    assert list(tmp_path.iterdir()) == []

"""A stand-in for the process that decodes: it dies of the first picture, as a decoder does that crashes, or waits."""

import os
import sys
import time

if __name__ == "__main__":
    sys.stdin.buffer.read(100)
    time.sleep(float(os.environ.get("SPAWNRUN_TEST_SLEEP", "0")))
    os.abort()

"""Pictures decoded in a process of their own: HEIC, WebP and TIFF, whose decoders can crash on a damaged file.

The process is started with the first such picture and serves this one until it ends. However this one ends, the other
ends too, because the pipe between them closes.
"""

import atexit
import json
import struct
import subprocess
import sys
import threading
from datetime import datetime
from typing import IO, Any

import numpy as np

from vision.pixels.picture import MAX_PIXELS_WHOLE, Picture, PictureError

#: A picture that takes longer than this is given up, seconds.
_MOST_SECONDS = 120.0
_MODULE = "vision.pixels.decoder"
_CRASHED = "damaged: the decoder crashed on it; copy the file again from the camera, or take the photo again"
_TOO_LONG = f"damaged, or too large: not decoded in {_MOST_SECONDS:.0f} seconds"


class _Decoder:
    """The process that decodes, started when it is needed."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._process: subprocess.Popen[bytes] | None = None
        self._is_late = False

    def decode(self, content: bytes) -> Picture:
        """The picture of a file's content. Raises PictureError."""
        with self._lock:
            process = self._running()
            self._is_late = False
            timer = threading.Timer(_MOST_SECONDS, self._give_up, [process])
            timer.start()
            try:
                return _asked(process, content)
            except (OSError, EOFError):  # its end of the pipe is closed
                self._end()
                raise PictureError(_TOO_LONG if self._is_late else _CRASHED) from None
            except PictureError:
                raise
            except BaseException:  # an answer that was not read to its end must not be taken for the next one
                self._end()
                raise
            finally:
                timer.cancel()

    def close(self) -> None:
        """End the process, if it runs."""
        with self._lock:
            self._end()

    def _running(self) -> "subprocess.Popen[bytes]":
        if self._process is None or self._process.poll() is not None:
            self._end()
            # -P: a folder of photos that it is started in is no place to import from.
            command = [sys.executable, "-P", "-m", _MODULE]
            self._process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)  # noqa: S603 - ours
        return self._process

    def _give_up(self, process: "subprocess.Popen[bytes]") -> None:
        self._is_late = True
        process.kill()

    def _end(self) -> None:
        process, self._process = self._process, None
        if process is None:
            return
        process.kill()
        process.wait()
        for pipe in (process.stdin, process.stdout):
            if pipe is not None:
                try:
                    pipe.close()
                except OSError:  # what could not be written any more
                    continue


_decoder = _Decoder()
atexit.register(_decoder.close)


def load_apart(content: bytes) -> Picture:
    """The picture of a file's content, decoded in a process of its own. Raises PictureError."""
    return _decoder.decode(content)


def _asked(process: "subprocess.Popen[bytes]", content: bytes) -> Picture:
    if process.stdin is None or process.stdout is None:  # it was started with both
        raise EOFError
    process.stdin.write(struct.pack(">Q", len(content)))
    process.stdin.write(content)
    process.stdin.flush()
    (length,) = struct.unpack(">I", read_exactly(process.stdout, 4))
    answer: dict[str, Any] = json.loads(read_exactly(process.stdout, length))
    if "reason" in answer:
        raise PictureError(str(answer["reason"]))
    rows, columns = (int(number) for number in answer["size"])
    if not 0 < rows * columns <= MAX_PIXELS_WHOLE:
        raise EOFError
    rgb = np.empty((rows, columns, 3), np.uint8)
    read_into(process.stdout, memoryview(rgb.data).cast("B"))
    when = answer["taken_at"]
    focal_mm = answer["focal_35mm"]
    return Picture(
        rgb,
        None if when is None else datetime.fromisoformat(when),
        str(answer["camera"]),
        None if focal_mm is None else float(focal_mm),
        int(answer["reduced"]),
        tuple(map(str, answer["flags"])),
    )


def read_exactly(source: IO[bytes], length: int) -> bytes:
    """So many bytes. Raises EOFError where there are fewer."""
    content = bytearray(length)
    read_into(source, memoryview(content))
    return bytes(content)


def read_into(source: IO[bytes], target: memoryview) -> None:
    """Fill the target. Raises EOFError where there are too few bytes."""
    at = 0
    while at < len(target):
        piece = source.read(min(len(target) - at, 1 << 20))
        if not piece:
            raise EOFError
        target[at : at + len(piece)] = piece
        at += len(piece)

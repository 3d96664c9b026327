"""Every flag that vision sets has a sentence, and every sentence belongs to such a flag."""

import re
from pathlib import Path

import vision
from vision.flags import FLAGS


def test_flags_and_their_sentences_agree():
    rooms = [path.read_text("utf-8") for path in Path(vision.__file__).parent.rglob("*.py") if path.name != "flags.py"]
    words = {word for text in rooms for word in re.findall(r'"([a-z]+(?:_[a-z]+)*)"', text)}
    assert set(FLAGS) <= words
    for sentence in FLAGS.values():
        assert sentence.endswith(".")

"""Quality conditions of a reading, by name, each with a sentence for people."""

FLAGS: dict[str, str] = {
    "label_matched": "The code was too poor to decode; it was matched with the expected labels.",
    "no_label": "Read without a label: scale, exposure and white balance are guesses.",
    "light_guessed": "The label's grey patches could not be used; exposure and white balance are guesses.",
    "cut_by_frame": "Part of the face lies outside the picture; step back.",
    "much_hidden": "Glare or condensation hides a good part of the face; light it from the side.",
    "outline_unsure": "The outline of the face is uncertain.",
    "dim": "The picture is dark here; noise makes the reading less sure. Add light.",
    "overexposed": "Overexposed here: light substrate and mycelium are hard to tell apart. Expose less.",
    "soft": "The picture is not quite sharp here; hold the camera still.",
    "part_stalled": "Growth has stopped in a part of the face while the rest goes on; look at that part.",
    "wet_patch": "A patch of the grain has turned dark, as wet grain does; look at it, and leave the vessel closed.",
    "sharp_front": "The front has stopped along a smooth line, as where two growths hold each other off; look at it.",
}

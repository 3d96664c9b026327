"""Quality flags of a reading: name, and the sentence shown to the user."""

FLAGS: dict[str, str] = {
    "label_matched": "The code could not be decoded; it was matched against the labels that are expected.",
    "label_small": "Going by the vessel's size its label is a small one: record label_size, or the size of the vessel.",
    "no_label": "Measured without a label: scale, exposure and white balance are estimates.",
    "light_guessed": "The label's grey patches could not be used; exposure and white balance are estimates.",
    "cut_by_frame": "Part of the face is outside the picture; step back.",
    "much_hidden": "Glare or condensation hides a large part of the face; light it from the side.",
    "outline_unsure": "The outline of the face is uncertain.",
    "series_differs": "This photo alone and the vessel's other photos disagree; the bounds cover both. Look at it.",
    "dim": "The picture is dark here; noise makes the reading less certain. Add light.",
    "overexposed": "Overexposed here: pale substrate and mycelium look alike. Reduce the exposure.",
    "soft": "The picture is slightly blurred here; hold the camera still.",
    "part_stalled": "Part of the face has stopped growing while the rest continues; look at that part.",
    "wet_patch": "A patch of the grain has turned dark, as wet grain does; look at it and keep the vessel closed.",
    "sharp_front": "The front has stopped along a smooth line, as where two cultures inhibit each other; look at it.",
    "reduced": "The photo has more than 56 megapixels and was read at half its size.",
    "unchecked_file": "Damage to a WebP or TIFF file cannot be noticed; save photos as JPEG, HEIC or PNG.",
}

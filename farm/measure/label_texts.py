"""What the labels in a picture say, without measuring anything."""

from farm.store.errors import PictureFaultError


def label_texts(content: bytes) -> list[str]:
    """The texts of the labels that can be read in a picture, the largest first; content: of its file.

    Raises PictureFaultError for what is no picture that can be read.
    """
    from vision.label import find_labels
    from vision.pixels import PictureError, grey_of, load_picture

    try:
        picture = load_picture(content)
    except PictureError as error:
        raise PictureFaultError(str(error)) from None
    found = [label for label in find_labels(grey_of(picture.rgb)) if label.text]
    ordered = sorted(found, key=lambda one: -one.code_side_px)
    return list(dict.fromkeys(label.text for label in ordered if label.text))

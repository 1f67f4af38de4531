"""Reading the maker's files from disk, with one clear sentence when that cannot be done."""

from pathlib import Path

from graduale.base.findings import refuse

LARGEST_BYTES = 2_000_000


def read_text(path: Path, largest: int = LARGEST_BYTES) -> str:
    """The text of a UTF-8 file of at most `largest` bytes. Raises Refused."""
    name = path.name or str(path)
    try:
        if path.is_dir():
            raise refuse("is-a-folder", name, "is a folder; name the file inside it.")
        size = path.stat().st_size
        if size > largest:
            raise refuse(
                "file-too-large",
                name,
                f"is {size / 1e6:.1f} MB, more than the "
                f"{largest / 1e6:.0f} MB this program reads; thin its lists of points "
                "or name the right file.",
            )
        with path.open("rb") as stream:
            raw = stream.read(largest + 1)
    except FileNotFoundError:
        raise refuse(
            "no-such-file", name, "does not exist; check the name and the folder."
        ) from None
    except (OSError, ValueError) as wrong:
        reason = getattr(wrong, "strerror", None) or "the name is not usable"
        raise refuse(
            "unreadable-file",
            name,
            f"cannot be read ({reason}); mend its permissions or name another file.",
        ) from None
    if len(raw) > largest:
        raise refuse("file-too-large", name, "never ends; name a plain file.")
    return decoded(raw, name)


def decoded(raw: bytes, name: str) -> str:
    """`raw` as text; a mark at its start is dropped, line ends become plain. Raises Refused."""
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as wrong:
        line = raw[: wrong.start].count(b"\n") + 1
        raise refuse(
            "not-text",
            f"{name}: line {line}",
            "holds bytes that are no UTF-8 text; save the file as plain text in UTF-8.",
        ) from None
    return text.replace("\r\n", "\n")

"""How do the files of a report appear: whole or not at all?"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def whole_folder(out: Path) -> Iterator[Path]:
    """A draft folder whose files replace those of `out` together, once all are there.

    If anything fails before that, `out` is as it was. Other files in `out` stay.
    """
    if out.exists() and not out.is_dir():
        raise FileExistsError(f"{out.name} is a file: give the name of a folder")
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        draft = Path(tempfile.mkdtemp(prefix=f".{out.name}-", dir=out.parent))
    except OSError as error:
        raise OSError(f"nothing can be written to {out}: {error.strerror}") from error
    try:
        yield draft
        if out.exists():
            _replace(draft, out)
        else:
            draft.chmod(0o755)
            draft.rename(out)
    finally:
        shutil.rmtree(draft, ignore_errors=True)


def _replace(draft: Path, out: Path) -> None:
    """Put every file of the draft in its place; on a failure put the earlier ones back."""
    earlier = draft / "earlier"
    made = sorted(p.name for p in draft.iterdir())
    earlier.mkdir()
    done = []
    try:
        for name in made:
            if (out / name).exists():
                (out / name).rename(earlier / name)
            done.append(name)
            (draft / name).rename(out / name)
    except OSError:
        for name in done:
            (out / name).unlink(missing_ok=True)
            if (earlier / name).exists():
                (earlier / name).rename(out / name)
        raise

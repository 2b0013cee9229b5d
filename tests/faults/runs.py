"""Small runs as the commands write them, and what a reader finds of them: wholly one of them, or an error that says what is mixed."""

import json

from filterlib.show.folder import RUN, run_of, write_files

LAST = "results.json"
SOME = ("review.html", "bode.svg", "changes/1.toml", LAST)


def files(text, names=SOME):
    made = {name: f"<!-- {RUN} -->{text}\n" for name in names if name != LAST}
    return made | {LAST: json.dumps({"run": RUN, "files": list(names), "text": str(text)})}


def write(folder, text):
    """A run with a file whose name no other run has, so that nothing of one passes for another's."""
    *names, last = SOME
    return write_files(folder, files(text, (*names, f"{text}.svg", last)), last=LAST)


def text_in(folder, *foreign):
    """The text of the run that a reader finds; None for none. Raises AssertionError where it is not wholly one run."""
    inside = {str(p.relative_to(folder)) for p in folder.rglob("*") if not p.is_dir()} if folder.exists() else set()
    if not inside - set(foreign):
        return None
    listed = json.loads((folder / LAST).read_text())
    assert inside == {*listed["files"], *foreign}
    assert {run_of(folder / name) for name in listed["files"]} == {listed["run"]}
    assert all(listed["text"] in (folder / name).read_text() for name in listed["files"])
    return listed["text"]

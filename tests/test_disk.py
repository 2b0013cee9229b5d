"""Files of a person's: what is no regular file is refused at once, and a text replaces another as one."""

import os
import socket
import stat

import pytest

from filterlib import disk
from filterlib.errors import FilterlibError, OutputError
from tests.faults import injected


def test_what_is_no_regular_file_is_refused_by_its_kind(tmp_path):
    os.mkfifo(tmp_path / "pipe")
    server = socket.socket(socket.AF_UNIX)
    server.bind(str(tmp_path / "socket"))
    (tmp_path / "link").symlink_to("pipe")
    for path, kind in (
        (tmp_path / "pipe", "a pipe"),
        (tmp_path / "socket", "a socket"),
        ("/dev/zero", "a device"),
        (tmp_path / "link", "a pipe"),
        (tmp_path, "a folder"),
    ):
        with pytest.raises(FilterlibError, match=f"^{kind}, and a .*file is needed"):
            disk.open_regular(path)
        if path != tmp_path:
            with pytest.raises(OutputError, match=f"cannot be written: {kind}, and a regular file"):
                disk.write_text(path, "text")
    server.close()


def test_a_text_is_written_as_one_with_the_rights_that_were_there(tmp_path):
    path = tmp_path / "board.toml"
    disk.write_text(path, "one")
    assert stat.S_IMODE(path.stat().st_mode) == 0o666 & ~_mask()
    path.chmod(0o640)
    for at, code in injected.at_every_call(lambda at: disk.write_text(path, f"{at}"), injected.fail):
        assert path.read_text() == ("one" if code == injected.REFUSED else f"{at}")
        path.write_text("one")
        assert list(tmp_path.iterdir()) == [path]
    assert at > 2
    assert stat.S_IMODE(path.stat().st_mode) == 0o640


def _mask():
    mask = os.umask(0)
    os.umask(mask)
    return mask

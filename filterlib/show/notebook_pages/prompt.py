"""JupyterLab as `filterlib lab` starts it: messages from a kernel reach the browser at once."""

from __future__ import annotations

import subprocess
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any

from jupyter_server.services.kernels.connection.channels import ZMQChannelsWebsocketConnection

LAST_WORDS = 0.35  # [s] for a server to stop its kernels


class PromptConnection(ZMQChannelsWebsocketConnection):
    """A kernel's connection whose small messages do not wait for each other.

    Without this every second picture of a panel waits 30 ms, for an acknowledgement that the browser's side delays.
    Source: J. Nagle, RFC 896, 1984, and delayed acknowledgements, RFC 1122, section 4.2.3.2 (from memory).
    """

    def connect(self) -> Any:
        """Connect, without delay."""
        self.websocket_handler.set_nodelay(True)
        return super().connect()


def lab_command(folder: str | Path, *options: str) -> list[str]:
    """The command that starts JupyterLab on a folder, for this machine alone; it makes a token of its own."""
    prompt = f"--ServerApp.kernel_websocket_connection_class={__name__}.{PromptConnection.__name__}"
    alone = ["--ServerApp.ip=127.0.0.1", "--ServerApp.allow_remote_access=False"]
    return [sys.executable, "-m", "jupyterlab", f"--ServerApp.root_dir={folder}", prompt, *alone, *options]


def run_lab(command: list[str]) -> int:
    """Run JupyterLab until it ends, by itself or by Ctrl-C, which would else ask first; returns its exit code."""
    server = subprocess.Popen(command)
    try:
        return server.wait()
    finally:
        server.terminate()
        with suppress(subprocess.TimeoutExpired, KeyboardInterrupt):
            server.wait(LAST_WORDS)
        server.kill()

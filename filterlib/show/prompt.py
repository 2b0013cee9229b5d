"""JupyterLab as `filterlib lab` starts it: messages from a kernel reach the browser at once."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from jupyter_server.services.kernels.connection.channels import ZMQChannelsWebsocketConnection


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
    """The command that starts JupyterLab on a folder."""
    prompt = f"--ServerApp.kernel_websocket_connection_class={__name__}.{PromptConnection.__name__}"
    return [sys.executable, "-m", "jupyterlab", f"--ServerApp.root_dir={folder}", prompt, *options]

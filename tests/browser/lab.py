"""JupyterLab in a real browser: one server, a page for each notebook, and what to wait for."""

from __future__ import annotations

import os
import socket
import subprocess
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filterlib.show.notebook_pages.prompt import lab_command

ROOT = Path(__file__).parents[2]
LAPTOP = {"width": 1366, "height": 768}
PATIENCE = 240_000  # [ms], for all cells of a notebook on a machine that does other things too
ANSWER = 60_000  # [ms], for one press, likewise
QUIET = '{"fetchNews": "false", "checkForUpdates": false}'
KERNEL = "window.jupyterapp?.shell.currentWidget?.sessionContext?.session?.kernel"
READY = f"() => {{ const k = {KERNEL}; return k && k.connectionStatus === 'connected' && k.status === 'idle'; }}"


@contextmanager
def server(folder: Path) -> Iterator[str]:
    """JupyterLab on a folder, with settings of its own; its address."""
    settings = folder.parent / "settings"
    quiet = settings / "lab" / "user-settings" / "@jupyterlab" / "apputils-extension"
    quiet.mkdir(parents=True)
    (quiet / "notification.jupyterlab-settings").write_text(QUIET)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    environment = {
        **os.environ, "JUPYTER_CONFIG_DIR": str(settings), "JUPYTER_DATA_DIR": str(settings / "data"),
        "JUPYTER_RUNTIME_DIR": str(settings / "runtime"), "IPYTHONDIR": str(settings / "ipython"),
        "PYTHONPATH": os.pathsep.join([str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])]),
    }  # fmt: skip
    command = lab_command(
        folder, "--no-browser", "--allow-root", f"--ServerApp.port={port}", "--ServerApp.port_retries=0",
        "--IdentityProvider.token=", "--ServerApp.password=", "--LabApp.expose_app_in_browser=True",
        f"--MappingKernelManager.kernel_info_timeout={PATIENCE // 1000}",  # or a kernel that is slow to come answers HTTP 500
    )  # fmt: skip
    with (settings / "server.log").open("w") as log:
        started = subprocess.Popen(command, cwd=folder, env=environment, stdout=log, stderr=subprocess.STDOUT)
        try:
            address = f"http://127.0.0.1:{port}"
            _wait(address, started, settings / "server.log")
            yield address
        finally:
            started.terminate()
            started.wait(30)


def _wait(address: str, started: subprocess.Popen, log: Path) -> None:
    for _ in range(600):
        if started.poll() is not None:
            break
        try:
            urllib.request.urlopen(f"{address}/api", timeout=5).close()
            return
        except OSError:
            time.sleep(0.2)
    raise AssertionError(f"JupyterLab did not start: {log.read_text()[-2000:]}")


def server_log(folder: Path) -> str:
    """What the server said of what went wrong: from its last error on."""
    said = (folder.parent / "settings" / "server.log").read_text(encoding="utf-8", errors="replace")
    return said[max(said.rfind("[E "), len(said) - 4000, 0) :] if "[E " in said else "the server logged no error"


def begin_to_run(page, address: str, name: str) -> None:
    """Open a notebook, wait for its kernel, and have all cells run."""
    page.goto(f"{address}/lab/tree/{name}?reset")  # without the tabs of an earlier visit
    page.wait_for_function(READY, timeout=PATIENCE)
    page.evaluate(
        "() => { window.jupyterapp.commands.execute('notebook:run-all-cells'); }"
    )  # not awaited: it may never end


def open_and_run(page, address: str, name: str) -> None:
    """Open a notebook, run all cells and wait for the last."""
    begin_to_run(page, address, name)
    page.wait_for_function(
        """() => window.jupyterapp.shell.currentWidget.content.widgets
            .filter(cell => cell.model.type === 'code').every(cell => cell.model.executionCount)""",
        timeout=PATIENCE,
    )
    page.wait_for_function(READY, timeout=PATIENCE)


def bring_up(page, number: int, what: str = ".fl-panel") -> None:
    """Scroll to a panel: JupyterLab hides cells that are out of sight."""
    page.evaluate(
        """async ([number, what]) => {
            const book = window.jupyterapp.shell.currentWidget.content;
            const panel = document.querySelectorAll(what)[number];
            const at = book.widgets.findIndex(cell => cell.node.contains(panel));
            await book.scrollToItem(at, 'start');
        }""",
        [number, what],
    )
    found = page.locator(what).nth(number)
    found.wait_for(state="visible")
    found.evaluate("one => one.scrollIntoView()")


def errors(page) -> list[str]:
    """What cells say went wrong."""
    return page.evaluate(
        """() => window.jupyterapp.shell.currentWidget.content.widgets.filter(cell => cell.model.type === 'code')
            .flatMap(cell => cell.model.outputs.toJSON())
            .filter(out => out.output_type === 'error' || (out.output_type === 'stream' && out.name === 'stderr'))
            .map(out => out.evalue ?? [out.text].flat().join(''))"""
    )


def use_theme(page, name: str) -> None:
    """JupyterLab's own light or dark theme; waits until every panel's picture has followed."""
    dark = "true" if "Dark" in name else "false"
    if page.evaluate("document.body.dataset.jpThemeLight") != dark:
        return  # it is there already, as an earlier notebook that failed may have left it
    before = page.eval_on_selector_all(".fl-picture", "all => all.map(one => one.src)")
    page.evaluate(f"() => window.jupyterapp.commands.execute('apputils:change-theme', {{ theme: '{name}' }})")
    page.wait_for_function(
        f"""before => [...document.querySelectorAll('.fl-panel')].every(one => one.classList.contains('fl-dark') === {dark})
            && !document.getElementById('jupyterlab-splash') && [...document.querySelectorAll('.fl-picture')].every((one, at) => one.src !== before[at] && one.complete)""",
        arg=before,
        timeout=ANSWER,
    )


def shut_down(page) -> None:
    """End the notebook's kernel."""
    page.evaluate("() => window.jupyterapp.shell.currentWidget.sessionContext.shutdown()")

"""A JupyterLab server and a Chromium that know nothing of the person whose machine this is.

The server has its own settings, runtime files and port, and listens on this machine only. Chromium can
resolve no name, so that nothing a notebook asks for from outside can arrive.
"""

from __future__ import annotations

import importlib.util
import json
import os
import shutil
import signal
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import quote

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser

__all__ = ["Lab", "missing_tools", "need_browser", "running_browser", "running_lab"]

#: What the server is started with beside its folder; port 0 lets the system choose a free one.
SERVER: Final = (
    "--no-browser", "--ip=127.0.0.1", "--port=0", "--ServerApp.port_retries=0",
    "--LabApp.expose_app_in_browser=True",
    "--LabApp.check_for_updates_class=jupyterlab.NeverCheckForUpdate",
)  # fmt: skip
#: No pop-up asks about news, and every cell stands in the page, not only those in view.
SETTINGS: Final[dict[str, dict[str, Any]]] = {
    "apputils-extension/notification": {"fetchNews": "false", "checkForUpdates": False},
    "notebook-extension/tracker": {"windowingMode": "none"},
}
#: The check whether the lab needs building takes the server 2 s at every opening; the moving picture that
#: is shown until the lab is there takes the browser another.
PAGE: Final = {
    "buildCheck": False,
    "disabledExtensions": {"@jupyterlab/apputils-extension:splash": True},
}
#: The last two keep every request on this machine: no proxy, and no name but this one.
CHROMIUM: Final = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--no-proxy-server", "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
)  # fmt: skip
#: How long the server may take to answer, and to stop when asked [s].
START_WITHIN: Final = 60.0
STOP_WITHIN: Final = 15.0


@dataclass(frozen=True)
class Lab:
    """A running server.

    Attributes
    ----------
    folder : Path
        What it serves.
    url : str
        Where, with a slash at its end.
    token : str
        What it asks for.
    pid : int
        Its process.
    logged : Path
        The file that holds its log.
    """

    folder: Path
    url: str
    token: str
    pid: int
    logged: Path

    def address(self, path: str, *, whole_lab: bool = False) -> str:
        """Return the address of a notebook, alone on the page or in the whole lab.

        Each address has a workspace of its own, or the lab would open again what was open before.
        """
        view = f"{'lab' if whole_lab else 'doc'}/workspaces/{os.urandom(4).hex()}"
        return f"{self.url}{view}/tree/{quote(path)}?token={self.token}"

    def log(self, lines: int = 60) -> str:
        """Return the last lines of the log."""
        return "\n".join(self.logged.read_text(errors="replace").splitlines()[-lines:])

    def bring(self, root: Path, notebook: str, *others: str) -> str:
        """Copy a notebook without its outputs into the lab; return its path there.

        Parameters
        ----------
        root : Path
            The folder that all the paths below start from.
        notebook : str
            Path of the notebook.
        *others : str
            Files and folders it reads. They come to lie where they lay relative to it.
        """
        fresh = f"{len(list(self.folder.iterdir()))}-{Path(notebook).stem}"
        for other in others:
            place = self.folder / fresh / other
            place.parent.mkdir(parents=True, exist_ok=True)
            if (root / other).is_dir():
                shutil.copytree(root / other, place)
            else:
                shutil.copy2(root / other, place)
        content = json.loads((root / notebook).read_text(encoding="utf-8"))
        content["metadata"].pop("widgets", None)
        for cell in content["cells"]:
            if cell["cell_type"] == "code":
                cell["outputs"], cell["execution_count"] = [], None
        place = self.folder / fresh / notebook
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(json.dumps(content), encoding="utf-8")
        return f"{fresh}/{notebook}"


@contextmanager
def running_lab(folder: Path) -> Iterator[Lab]:
    """Serve a folder by JupyterLab; on leaving, the server and all its kernels are gone.

    Settings, runtime files and the log go into a folder beside it, named ``<folder>-lab``, and stay there.
    """
    state = folder.with_name(f"{folder.name}-lab")
    environment = _own_places(state)
    token = environment["JUPYTER_TOKEN"]
    command = [sys.executable, "-m", "jupyterlab", *SERVER, f"--ServerApp.root_dir={folder}"]
    if os.geteuid() == 0:
        command.append("--allow-root")
    logged = state / "lab.log"
    with logged.open("w") as log:
        server = subprocess.Popen(
            command, cwd=folder, env=environment, stdin=subprocess.DEVNULL, stdout=log, stderr=log
        )
        try:
            url = _wait_for(server, state / "runtime" / f"jpserver-{server.pid}.json", token, logged)
            yield Lab(folder, url, token, server.pid, logged)
        finally:
            _stop(server)


def _own_places(state: Path) -> dict[str, str]:
    """Return the server's environment, after writing the settings that it points to."""
    for name, values in SETTINGS.items():
        _write(state / "settings" / "@jupyterlab" / f"{name}.jupyterlab-settings", values)
    _write(state / "config" / "labconfig" / "page_config.json", PAGE)
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("JUPYTER", "JPY_"))}
    return kept | {
        "JUPYTER_CONFIG_DIR": str(state / "config"),
        "JUPYTER_DATA_DIR": str(state / "data"),
        "JUPYTER_RUNTIME_DIR": str(state / "runtime"),
        "JUPYTERLAB_SETTINGS_DIR": str(state / "settings"),
        "JUPYTERLAB_WORKSPACES_DIR": str(state / "workspaces"),
        "IPYTHONDIR": str(state / "ipython"),
        "JUPYTER_TOKEN": os.urandom(16).hex(),
    }


def _write(path: Path, values: dict[str, Any]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(json.dumps(values))


def _wait_for(server: subprocess.Popen[bytes], says: Path, token: str, logged: Path) -> str:
    """Return the server's address once it answers there."""
    straight = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    until = time.monotonic() + START_WITHIN
    while time.monotonic() < until and server.poll() is None:
        try:
            url = str(json.loads(says.read_text())["url"])
            with straight.open(f"{url}api/status?token={token}", timeout=5):
                return url
        except (FileNotFoundError, json.JSONDecodeError, urllib.error.URLError):
            time.sleep(0.05)
    ended = "ended" if server.poll() is not None else f"gave no answer within {START_WITHIN:g} s"
    raise RuntimeError(f"JupyterLab {ended}. Its log:\n{logged.read_text(errors='replace')}")


def _stop(server: subprocess.Popen[bytes]) -> None:
    """End the server and whatever it started: politely first."""
    import psutil

    try:
        started = psutil.Process(server.pid).children(recursive=True)
    except psutil.NoSuchProcess:
        started = []
    server.send_signal(signal.SIGTERM)
    try:
        server.wait(STOP_WITHIN)
    except subprocess.TimeoutExpired:
        server.kill()
        server.wait()
    for left in psutil.wait_procs(started, timeout=2)[1]:
        left.kill()


@contextmanager
def running_browser() -> Iterator[Browser]:
    """Start a Chromium without a window that reaches this machine only."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=list(CHROMIUM))
        try:
            yield chromium
        finally:
            chromium.close()


def missing_tools() -> list[str]:
    """Return what a browser test needs and this machine lacks."""
    modules = {
        "playwright": "playwright", "jupyterlab": "jupyterlab", "ipywidgets": "ipywidgets",
        "axe_playwright_python": "axe-playwright-python",
    }  # fmt: skip
    missing = [name for module, name in modules.items() if importlib.util.find_spec(module) is None]
    return missing if shutil.which("chromium") else ["Chromium (the command chromium)", *missing]


def need_browser() -> None:
    """Skip the test where something is missing; where CI is "true", fail it."""
    missing = missing_tools()
    if missing:
        words = f"tests in a browser need {', '.join(missing)}; install what is missing and run them again"
        if os.environ.get("CI") == "true":
            pytest.fail(words)
        pytest.skip(words)

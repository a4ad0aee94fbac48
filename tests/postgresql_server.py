"""A PostgreSQL server of the tests' own, in a folder that is thrown away afterwards.

PostgreSQL does not run as the super-user: there the programs are started as the user
"postgres", which Debian's package makes.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


def _program(name: str) -> str:
    found = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    path = str(found[-1]) if found else shutil.which(name)
    if not path:
        raise RuntimeError(f"{name} is not installed; this check needs PostgreSQL.")
    return path


def _run(*command: str) -> None:
    as_user = ["setpriv", "--reuid=postgres", "--regid=postgres", "--clear-groups"]
    full = [*(as_user if os.geteuid() == 0 else []), *command]
    done = subprocess.run(
        full, text=True, cwd="/tmp", stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
    )
    if done.returncode:
        raise RuntimeError(f"{command[0]} failed: {done.stderr}")


@contextmanager
def postgresql_server() -> Iterator[str]:
    """Start a server on a socket of its own; gives a URL whose database is "postgres"."""
    folder = Path(tempfile.mkdtemp(prefix="nidusbook-pg-", dir="/tmp"))
    if os.geteuid() == 0:
        shutil.chown(folder, "postgres", "postgres")
    data = str(folder / "data")
    try:
        _run(_program("initdb"), "-D", data, "-U", "tester", "-A", "trust", "-E", "UTF8",
             "--no-locale", "--no-sync")
        options = f"-c listen_addresses='' -c unix_socket_directories={folder} -c fsync=off"
        _run(_program("pg_ctl"), "-D", data, "-o", options, "-l", str(folder / "log"), "-w",
             "start")
        try:
            yield f"postgresql://tester@/postgres?host={folder}"
        finally:
            _run(_program("pg_ctl"), "-D", data, "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)

"""A PostgreSQL server with PostGIS of the test's own: temporary folder, unix socket only, gone afterwards."""

import os
import pwd
import shutil
import subprocess
import tempfile
from contextlib import contextmanager
from pathlib import Path

SERVER = Path("/usr/lib/postgresql")  # where Debian puts the programs of the server, by version
DATABASE = "building"


@contextmanager
def server():
    """Yields words of libpq for a database that has PostGIS. The server never runs as root: that it refuses."""
    folders = sorted(SERVER.glob("*/bin"), key=lambda folder: int(folder.parent.name))
    assert folders, "PostgreSQL is missing: tests/run installs it (postgresql-postgis)"
    programs = folders[-1]
    as_user = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
    user = "postgres" if as_user else pwd.getpwuid(os.geteuid()).pw_name
    folder = Path(tempfile.mkdtemp(prefix="inslab-pg-"))  # short: a socket's path holds 107 characters
    if as_user:
        shutil.chown(folder, "postgres", "postgres")
    data = folder / "data"

    def run(*words):
        done = subprocess.run([*as_user, *map(str, words)], capture_output=True, text=True, cwd="/", check=False)
        assert done.returncode == 0, f"{words[0]}: {done.stdout}{done.stderr}"

    try:
        run(programs / "initdb", "-D", data, "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "--no-sync")
        options = f"-c listen_addresses='' -c unix_socket_directories={folder} -c fsync=off"
        run(programs / "pg_ctl", "-D", data, "-o", options, "-l", folder / "log", "-w", "start")
        try:
            run("createdb", "-h", folder, "-U", user, DATABASE)
            run("psql", "-h", folder, "-U", user, "-d", DATABASE, "-q", "-c", "CREATE EXTENSION postgis")
            yield f"host={folder} user={user} dbname={DATABASE}"
        finally:
            run(programs / "pg_ctl", "-D", data, "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)

"""What an operator relies on, with real processes: logs, metrics, roles, a restore drill."""

from __future__ import annotations

import http.client
import json
import os
import re
import signal
import subprocess
import sys
import urllib.error
import urllib.request
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import psycopg
import pytest

from registry.server.address import database_url, recorded_server
from registry.server.embedded import owned_server
from registry.server.web_role import WEB_ROLE, web_url
from registry.settings.environment import REPOSITORY
from tests.factories.registry import GECKO, GECKO_FILE, clutch

pytestmark = pytest.mark.skipif(
    not Path("/proc/self/cwd").exists(), reason="a service is ended with its parent on Linux only"
)
READY = "Broodcount is listening on "
UUID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")


class Operator:
    """Runs ``broodcount`` and calls it over HTTP."""

    def __init__(self, folder: Path, **variables: str) -> None:
        self.data_dir = folder / "data"
        self.log = folder / "log"
        fixtures = folder / "fixtures"
        (fixtures / "demo").mkdir(parents=True)
        (fixtures / "demo" / GECKO_FILE.name).write_bytes(GECKO_FILE.read_bytes())
        dropped = {"DATABASE_URL", "DJANGO_SETTINGS_MODULE"}
        self.environment = {k: v for k, v in os.environ.items() if k not in dropped} | {
            "BROODCOUNT_DATA_DIR": str(self.data_dir),
            "BROODCOUNT_FIXTURES": str(fixtures),
            **variables,
        }
        self.process: subprocess.Popen[str] | None = None
        self.url = ""

    def serve(self) -> None:
        with self.log.open("a") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "registry", "serve", "--port", "0"],
                cwd=REPOSITORY,
                env=self.environment,
                stdout=subprocess.PIPE,
                stderr=log,
                text=True,
                start_new_session=True,
            )
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if line.startswith(READY):
                self.url = line.removeprefix(READY).strip().removesuffix("/api/v1/")
                return
        pytest.fail(self.log.read_text())

    def stop(self) -> None:
        if self.process is None:
            return
        self.process.send_signal(signal.SIGTERM)
        code = self.process.wait(40)
        assert self.process.stdout is not None
        self.process.stdout.close()
        self.process = None
        assert code == 0

    def run(self, *words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "registry", *words],
            cwd=REPOSITORY,
            env=self.environment,
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )

    def call(
        self,
        method: str,
        path: str,
        body: object = None,
        headers: Mapping[str, str] | None = None,
    ) -> tuple[int, Mapping[str, str], bytes]:
        request = urllib.request.Request(
            self.url + path,
            method=method,
            data=None if body is None else json.dumps(body).encode(),
            headers={"Content-Type": "application/json", **(headers or {})},
        )
        try:
            with urllib.request.urlopen(request, timeout=30) as answer:
                return answer.status, answer.headers, answer.read()
        except urllib.error.HTTPError as error:
            with error:
                return error.code, error.headers, error.read()

    def join(self) -> dict[str, Any]:
        status, _, answer = self.call("POST", "/api/v1/keepers/", {})
        assert status == 201, answer
        found: dict[str, Any] = json.loads(answer)
        return found

    def report(self, token: str, **change: object) -> tuple[int, Any]:
        status, _, answer = self.call(
            "POST",
            "/api/v1/clutches/",
            clutch() | change,
            {"Authorization": f"Bearer {token}", "Idempotency-Key": os.urandom(8).hex()},
        )
        return status, json.loads(answer)


@pytest.fixture
def operator(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Operator]:
    made = Operator(tmp_path, **getattr(request, "param", {}))
    yield made
    made.stop()


LABEL = "sire with a label of mine"
SINGLE = {"BROODCOUNT_WORKERS": "1"}
WATCHED = {
    "BROODCOUNT_LOG_FORMAT": "json",
    "BROODCOUNT_METRICS": "on",
    "BROODCOUNT_WORKERS": "2",
    "BROODCOUNT_TRUSTED_PROXIES": "1",
}


@pytest.mark.parametrize("operator", [WATCHED], indirect=True)
def test_serve__logs_calls_and_nobody(operator: Operator) -> None:
    operator.serve()
    forwarded = {"X-Forwarded-For": "203.0.113.77", "User-Agent": "who-i-am/1"}
    keeper = operator.join()
    token = keeper["token"]
    status, stored = operator.report(token, sire={"genes": "het ashwater", "animal": LABEL})
    assert status == 201, stored
    assert operator.report(token, season=1900)[0] == 400
    as_keeper = {"Authorization": f"Bearer {token}", **forwarded}
    for method, path, code in (
        ("GET", f"/api/v1/clutches/{stored['id']}/", 200),
        ("GET", f"/api/v1/clutches/{keeper['keeper']}/", 404),
        ("GET", f"/api/v1/{token}/", 404),
        ("GET", f"/api/v1/clutches/?token={token}", 400),
        ("GET", "/health/live", 200),
    ):
        assert operator.call(method, path, None, as_keeper)[0] == code
    _, headers, _ = operator.call("GET", "/api/v1/species/", None, as_keeper)
    # Something that fails inside, and something that is no HTTP: the web server's own log.
    recorded = recorded_server(operator.data_dir)
    assert recorded is not None
    with psycopg.connect(
        database_url(operator.data_dir, recorded[1]), autocommit=True
    ) as connection:
        connection.execute("ALTER TABLE clutches_clutch RENAME TO away")
        failed = operator.call("GET", f"/api/v1/clutches/{stored['id']}/", None, as_keeper)[0]
        connection.execute("ALTER TABLE away RENAME TO clutches_clutch")
    assert failed == 500
    operator.stop()

    text = operator.log.read_text()
    entries = [json.loads(line) for line in text.splitlines()]
    routes = [(one.get("request"), one.get("code")) for one in entries]
    assert ("POST /api/v1/clutches/", 201) in routes
    assert ("POST /api/v1/clutches/", 400) in routes
    assert ("GET (no such call)", 404) in routes
    assert any(code == 200 and "clutches/<" in str(route) for route, code in routes)
    assert not any("health" in str(route) for route, _ in routes)
    assert headers["X-Request-Id"] in {one.get("request_id") for one in entries}
    (failure,) = [one for one in entries if one["event"] == "request_failed"]
    assert "SQLSTATE 42P01" in failure["exception"]
    assert failure["request_id"]
    everything = text + (operator.data_dir / "postgresql.log").read_text()
    for hidden in (token, keeper["keeper"], stored["id"], LABEL, "203.0.113", "who-i-am", "bck_"):
        assert hidden not in everything, hidden
    assert not UUID.search(everything)
    assert "away" in everything or "42P01" in everything


@pytest.mark.parametrize("operator", [WATCHED], indirect=True)
def test_serve__counts_over_all_workers_by_route(operator: Operator) -> None:
    operator.serve()
    keeper = operator.join()
    status, stored = operator.report(keeper["token"])
    assert status == 201
    for _ in range(20):
        operator.call("GET", f"/api/v1/combinations/{GECKO}/ashwater/")
    counted = set()
    for _ in range(6):
        status, _, answer = operator.call("GET", "/metrics")
        assert status == 200
        text = answer.decode()
        counted |= {
            line.rsplit(" ", 1)[1]
            for line in text.splitlines()
            if line.startswith("django_http_responses_total_by_status_view_method_total{")
            and 'view="combination"' in line
        }
        assert "broodcount_keepers 1.0" in text
        for hidden in (keeper["token"], keeper["keeper"], stored["id"], "/api/v1", "ashwater"):
            assert hidden not in text
    # Whichever worker is asked knows what the other one did.
    assert counted == {"20.0"}
    assert operator.call("GET", "/metrics", None, {"X-Forwarded-For": "127.0.0.1"})[0] == 404
    assert list((operator.data_dir / "metrics").iterdir())
    operator.stop()
    assert not list((operator.data_dir / "metrics").iterdir())


AUDIT = "moderation_auditentry"
APPEND_ONLY = ("keepers_erasure", AUDIT)


@pytest.mark.parametrize("operator", [SINGLE], indirect=True)
def test_serve__its_web_server_owns_nothing_and_cant_alter_the_audit_trail(
    operator: Operator,
) -> None:
    made = operator.run("migrate", "--verbosity", "0")
    assert made.returncode == 0, made.stderr
    # A table of that name stands for the audit trail wherever moderation has none yet.
    with (
        owned_server(operator.data_dir, command="test", durable=False) as (_, owner),
        psycopg.connect(owner) as connection,
    ):
        connection.execute(f"CREATE TABLE IF NOT EXISTS {AUDIT} (id bigserial, note text)")
    operator.serve()
    token = operator.join()["token"]
    assert operator.report(token)[0] == 201
    assert operator.call("GET", f"/api/v1/combinations/{GECKO}/ashwater/")[0] == 200
    erased = operator.call(
        "DELETE",
        "/api/v1/keepers/me/",
        None,
        {"Authorization": f"Bearer {token}", "If-Match": "*"},
    )
    assert erased[0] in {200, 204}, erased

    recorded = recorded_server(operator.data_dir)
    assert recorded is not None
    owner = database_url(operator.data_dir, recorded[1])
    with psycopg.connect(owner) as connection:
        logged_in = connection.execute(
            "SELECT DISTINCT usename::text FROM pg_stat_activity"
            " WHERE datname = current_database() AND pid <> pg_backend_pid()"
        ).fetchall()
    assert logged_in == [(WEB_ROLE,)]
    with psycopg.connect(web_url(operator.data_dir, owner), autocommit=True) as web:
        web.execute(f"SELECT * FROM {AUDIT}")
        for refused in (
            "UPDATE keepers_erasure SET erased_on = now()",
            f"UPDATE {AUDIT} SET id = 1",
            *(f"DELETE FROM {table}" for table in APPEND_ONLY),
            *(f"TRUNCATE {table}" for table in APPEND_ONLY),
            f"ALTER TABLE {AUDIT} ADD COLUMN x int",
            f"DROP TABLE {AUDIT}",
            f"CREATE INDEX ON {AUDIT} (id)",
            f"CREATE TRIGGER t BEFORE INSERT ON {AUDIT} EXECUTE FUNCTION now()",
            "TRUNCATE clutches_clutch CASCADE",
            "ALTER TABLE clutches_clutch DISABLE TRIGGER ALL",
            "DROP TABLE clutches_clutch",
            "CREATE TABLE mine (n int)",
            "CREATE TEMPORARY TABLE mine (n int)",
            "CREATE SCHEMA mine",
            "CREATE ROLE other SUPERUSER",
            "SET ROLE broodcount",
            "UPDATE django_migrations SET name = 'x'",
            "COPY (SELECT 1) TO PROGRAM 'true'",
            "SELECT pg_read_file('/etc/passwd')",
        ):
            with pytest.raises(psycopg.errors.InsufficientPrivilege):
                web.execute(refused)
        # One more sentence than the refusals above: adding is what it may do.
        granted = web.execute(
            "SELECT has_table_privilege(%s, 'INSERT'), has_table_privilege(%s, 'SELECT')",
            (AUDIT, AUDIT),
        ).fetchone()
        assert granted == (True, True)


@pytest.mark.slow
@pytest.mark.parametrize("operator", [SINGLE], indirect=True)
def test_drill__a_backup_comes_back_on_a_new_server_as_it_was(
    operator: Operator, tmp_path: Path
) -> None:
    operator.serve()
    keeper = operator.join()
    for season in (2023, 2024):
        assert operator.report(keeper["token"], season=season)[0] == 201
    backups = tmp_path / "backups"
    (operator.data_dir / "erasures.txt").touch()
    saved = operator.run("backup", str(backups))
    assert saved.returncode == 0, saved.stderr
    (backup,) = backups.iterdir()
    assert saved.stdout.strip() == str(backup)
    assert backup.stat().st_mode & 0o777 == 0o700
    assert sorted(one.name for one in backup.iterdir()) == [
        "checksums.txt",
        "database.dump",
        "erasures.txt",
    ]
    before = operator.run("checksums").stdout
    operator.stop()
    assert before == (backup / "checksums.txt").read_text()
    assert re.search(r"^table clutches_clutch 2 [0-9a-f]{32}$", before, re.MULTILINE)

    new = Operator(tmp_path / "new machine", **SINGLE)
    (backup / "erasures.txt").unlink()
    refused = new.run("restore", str(backup))
    assert refused.returncode == 1
    assert "keepers who were erased since the backup would come back" in refused.stderr
    restored = new.run("restore", str(backup), "--no-later-erasures")
    assert restored.returncode == 0, restored.stderr
    assert "checksums equal" in restored.stdout
    assert new.run("checksums").stdout == before
    again = new.run("restore", str(backup), "--no-later-erasures")
    assert again.returncode == 1
    assert "The database has tables already" in again.stderr
    try:
        new.serve()
        assert new.report(keeper["token"], season=2025)[0] == 201
        changed = set(new.run("checksums").stdout.splitlines()) - set(before.splitlines())
        assert any(line.startswith("table clutches_clutch 3 ") for line in changed)
    finally:
        new.stop()


BEHIND_A_PROXY = SINGLE | {
    "BROODCOUNT_HTTPS": "on",
    "BROODCOUNT_TRUSTED_PROXIES": "1",
    "BROODCOUNT_ALLOWED_HOSTS": "registry.example",
}


@pytest.mark.parametrize("operator", [BEHIND_A_PROXY], indirect=True)
def test_serve__behind_a_proxy_takes_https_only(operator: Operator) -> None:
    operator.serve()
    address = operator.url.removeprefix("http://")

    def ask(path: str, **headers: str) -> http.client.HTTPResponse:
        connection = http.client.HTTPConnection(address, timeout=20)
        sent = {name.replace("_", "-"): text for name, text in headers.items()}
        try:
            connection.request("GET", path, headers={"Host": "registry.example"} | sent)
            answer = connection.getresponse()
            answer.read()
            return answer
        finally:
            connection.close()

    plain = ask("/api/v1/species/")
    assert (plain.status, plain.headers["Location"]) == (
        301,
        "https://registry.example/api/v1/species/",
    )
    # Only the header that the proxy sets is a proxy's word.
    assert ask("/api/v1/species/", X_Forwarded_Ssl="on").status == 301
    secure = ask("/api/v1/species/", X_Forwarded_Proto="https")
    assert secure.status == 200
    assert secure.headers["Strict-Transport-Security"] == "max-age=31536000"
    assert secure.headers["X-Frame-Options"] == "DENY"
    elsewhere = ask("/api/v1/species/", X_Forwarded_Proto="https", Host="elsewhere.example")
    assert elsewhere.status == 400
    for path in ("/health/live", "/health/ready"):
        assert ask(path, Host="10.0.0.1").status == 200


@pytest.mark.parametrize("operator", [SINGLE | {"BROODCOUNT_HTTPS": "on"}], indirect=True)
def test_serve__without_a_proxy_believes_nobody_on_the_scheme(operator: Operator) -> None:
    operator.environment["BROODCOUNT_WORKER"] = "3"
    operator.serve()
    request = urllib.request.Request(
        operator.url + "/health/live", headers={"X-Forwarded-Proto": "https"}
    )
    with urllib.request.urlopen(request, timeout=20) as answer:
        assert answer.status == 200
    connection = http.client.HTTPConnection(operator.url.removeprefix("http://"), timeout=20)
    connection.request("GET", "/api/v1/species/", headers={"X-Forwarded-Proto": "https"})
    assert connection.getresponse().status == 301
    connection.close()
    told = operator.log.read_text()
    assert "BROODCOUNT_WORKER, which nothing reads. Did you mean BROODCOUNT_WORKERS?" in told

"""Health, figures, and the shipped composition: checked as a file, and its five parts started as processes."""

import json
import os
import re
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.db import OperationalError
from django.test import Client

from tests.conftest import Cast
from tests.trust_ops.test_backup import Place, fresh_postgres

ROOT = Path(__file__).parents[2]
TOKEN = "planted-token-for-metrics-7731"
OURS = ("web", "worker", "beat")
FIVE = (*OURS, "postgres", "redis")


def composition() -> dict[str, Any]:
    return yaml.safe_load((ROOT / "docker-compose.yml").read_text())


def test_readiness_says_within_seconds_which_part_is_away(
    client: Client, settings: Any, monkeypatch: Any, db: Any
) -> None:
    settings.BELL = "broker"
    with socket.create_server(("127.0.0.1", 0)) as deaf:
        # It takes connections and never answers.
        settings.CELERY_BROKER_URL = f"redis://127.0.0.1:{deaf.getsockname()[1]}/0"
        began = time.monotonic()
        answer = client.get("/readyz")
        assert time.monotonic() - began < 5
    assert (answer.status_code, answer.json()["reasons"]) == (503, ["broker"])

    def away(*_: Any) -> None:
        raise OperationalError("planted: host db.internal is away")

    monkeypatch.setattr("fleetcare.portal.web.health.MigrationExecutor", away)
    answer = client.get("/readyz")
    assert (answer.status_code, answer.json()["reasons"]) == (503, ["database", "broker"])
    assert "internal" not in answer.content.decode()
    assert client.get("/livez").status_code == 200


@pytest.mark.django_db
def test_figures_are_for_whoever_has_the_token(client: Client, settings: Any, cast: Cast) -> None:
    ask = {"Authorization": f"Bearer {TOKEN}"}
    settings.METRICS_TOKEN = ""
    off = client.get("/metrics", headers=ask)
    settings.METRICS_TOKEN = TOKEN
    for headers in ({}, {"Authorization": "Bearer wrong"}, {"Authorization": TOKEN}, {"Authorization": "Bearer "}):
        refused = client.get("/metrics", headers=headers)
        assert refused.status_code == off.status_code == 404
    answer = client.get("/metrics", headers=ask)
    assert answer.headers["Content-Type"].startswith("text/plain; version=0.0.4")
    text = answer.content.decode()
    # The format of text that Prometheus reads: a sample is a name, labels, and a number.
    for line in text.splitlines():
        assert re.fullmatch(r'# (HELP|TYPE) \w+ .+|\w+(\{\w+="\w+"(,\w+="\w+")*\})? \d+(\.\d+)?', line), line
    assert "fleetcare_ready 1\n" in text
    assert "fleetcare_stale_vehicles" in text


def test_the_composition_has_five_parts_that_are_watched_and_can_write_nowhere_else() -> None:
    services = composition()["services"]
    assert set(services) == {*FIVE, "migrate"}
    for name in FIVE:
        service = services[name]
        assert service["healthcheck"]["test"], name
        assert service["read_only"] is True, name
        assert service["cap_drop"] == ["ALL"], name
        assert "no-new-privileges:true" in service["security_opt"], name
        assert not service["user"].startswith(("0", "root")), name
        assert not service.get("privileged"), name
    for name in OURS:
        assert services[name]["depends_on"]["migrate"] == {"condition": "service_completed_successfully"}
        assert services[name]["depends_on"]["postgres"] == {"condition": "service_healthy"}
    # Only the web is reached from outside, and a secret that is missing stops everything.
    assert [name for name in services if "ports" in services[name]] == ["web"]
    for secret in ("SECRET_KEY", "ALLOWED_HOSTS"):
        assert ":?" in services["web"]["environment"][secret]
    assert ":?" in services["postgres"]["environment"]["POSTGRES_PASSWORD"]
    # Who ends first: web before worker before whoever watches them (30 < 60 < 90 seconds).
    assert services["web"]["stop_grace_period"] == "35s"
    assert services["worker"]["stop_grace_period"] == "90s"


def test_the_image_runs_as_nobody_and_every_setting_it_is_given_exists() -> None:
    image = (ROOT / "Dockerfile").read_text()
    assert re.search(r"^USER fleetcare$", image, re.MULTILINE)
    assert image.index("USER fleetcare") < image.index("CMD")
    documented = set(re.findall(r"^([A-Z_]+)=", (ROOT / ".env.example").read_text(), re.MULTILINE))
    given = set(composition()["services"]["web"]["environment"])
    assert given <= documented
    kept_out = (ROOT / ".dockerignore").read_text().split()
    assert {".git", ".env", "var"} <= set(kept_out)


def command_of(name: str) -> list[str]:
    """What a part of ours runs, as the composition or the image says."""
    said = composition()["services"][name].get("command")
    if said is None:
        image = (ROOT / "Dockerfile").read_text().replace("\\\n", "")
        found = re.search(r"^CMD (\[.*\])$", image, re.MULTILINE)
        assert found is not None
        said = json.loads(found[1])
    return list(said)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def status(url: str) -> int:
    try:
        with urllib.request.urlopen(url, timeout=5) as answer:  # noqa: S310
            return int(answer.status)
    except urllib.error.HTTPError as error:
        return error.code
    except OSError:
        return 0


def until(done: Any, seconds: float, what: str) -> float:
    began = time.monotonic()
    while time.monotonic() - began < seconds:
        if done():
            return time.monotonic() - began
        time.sleep(0.2)
    raise AssertionError(f"{what} not within {seconds} s")


def ticks(log: Path) -> list[dict[str, Any]]:
    """What a worker's log says of ticks."""
    lines = [json.loads(line) for line in log.read_text().splitlines() if line.startswith("{")]
    return [line for line in lines if "scheduling.tick" in line["message"]]


@pytest.fixture
def parts() -> Iterator[dict[str, subprocess.Popen[Any]]]:
    started: dict[str, subprocess.Popen[Any]] = {}
    yield started
    for process in started.values():
        if process.poll() is None:
            os.killpg(process.pid, 9)
        process.wait()


@pytest.mark.slow
@pytest.mark.system
@pytest.mark.timeout(400)
def test_the_same_five_parts_start_work_and_stop_as_processes(tmp_path: Path, parts: dict[str, Any]) -> None:
    server = shutil.which("redis-server")
    if server is None:
        pytest.skip("there is no redis-server to start")
    port, web_port = free_port(), free_port()
    with fresh_postgres() as url:
        place = Place(tmp_path, url)
        place.environment |= {
            "BROKER_URL": f"redis://127.0.0.1:{port}/0",
            "FLEETCARE_BELL": "broker",
            "TICK_SECONDS": "2",
            "LOG_FORMAT": "json",
            "LOG_LEVEL": "INFO",
            "PATH": f"{Path(sys.executable).parent}:{os.environ['PATH']}",
        }

        def start(name: str, command: list[str]) -> None:
            log = (tmp_path / f"{name}.log").open("wb")
            parts[name] = subprocess.Popen(
                command, cwd=ROOT, env=place.environment, stdout=log, stderr=log, start_new_session=True
            )
            log.close()

        redis = [word if word != "redis-server" else server for word in command_of("redis")]
        start("redis", [*redis, "--port", str(port), "--bind", "127.0.0.1", "--dir", str(tmp_path)])
        place.run(*composition()["services"]["migrate"]["command"][2:])
        beat_file = tmp_path / "beat-schedule"
        for name in OURS:
            words = [word.replace("0.0.0.0:8000", f"127.0.0.1:{web_port}") for word in command_of(name)]
            start(name, [re.sub("^/tmp/beat-schedule$", str(beat_file), word) for word in words])
        base = f"http://127.0.0.1:{web_port}"
        until(lambda: status(f"{base}/readyz") == 200, 90, "ready")
        # Logs are lines of JSON, the worker's too, but for its greeting.
        until(lambda: ticks(tmp_path / "worker.log"), 60, "a tick in the worker")
        assert ticks(tmp_path / "worker.log")[0]["logger"].startswith("celery")
        # Each part's absence is seen within five seconds, and so is its return; the process lives on.
        parts["redis"].send_signal(19)
        assert until(lambda: status(f"{base}/readyz") == 503, 5, "not ready without a broker") < 5
        assert status(f"{base}/livez") == 200
        parts["redis"].send_signal(18)
        until(lambda: status(f"{base}/readyz") == 200, 10, "ready again")
        # Asked to stop, each ends by itself.
        for name in OURS:
            parts[name].terminate()
        assert {name: parts[name].wait(60) for name in OURS} == dict.fromkeys(OURS, 0)

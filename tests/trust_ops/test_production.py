"""The settings of an installation that strangers reach: what Django's own list of checks says, cookies, the key."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.exceptions import ImproperlyConfigured

from fleetcare.config.secret import long_enough, secret_key

ROOT = Path(__file__).parents[2]
PUBLIC = ["fleet.example"]
SOUND_KEY = "kW3-f9q_Zt7LxB2vN8sQ4mC6hJ1dR5gY0aE-uP_oTiXwVzKlMnObHcSjF"
PROBE = """
import io, json
import django
django.setup()
from django.conf import settings
from django.core.management import call_command
from django.test import Client
call_command("check", deploy=True, fail_level="WARNING", stderr=io.StringIO(), stdout=io.StringIO())
ask = Client(headers={"host": "fleet.example", "x-forwarded-proto": "https"})
page, plain = ask.get("/sign-in/"), Client(headers={"host": "fleet.example"}).get("/sign-in/")
forged = Client(headers={"host": "else.example", "x-forwarded-proto": "https"}).get("/livez")
print(json.dumps({
    "debug": settings.DEBUG, "hosts": settings.ALLOWED_HOSTS,
    "admin": "django.contrib.admin" in settings.INSTALLED_APPS,
    "cookies": {name: dict(morsel) | {"name": name} for name, morsel in page.cookies.items()},
    "session": [settings.SESSION_COOKIE_NAME, settings.SESSION_COOKIE_SECURE, settings.SESSION_COOKIE_HTTPONLY],
    "hsts": page.headers.get("Strict-Transport-Security"), "plain": [plain.status_code, plain.headers.get("Location")],
    "forged": [forged.status_code, forged.content.decode()],
}))
"""


@pytest.mark.parametrize("key", ["", "short", "a" * 60, "abab" * 20])
def test_a_weak_or_missing_key_is_refused_where_strangers_reach(tmp_path: Path, key: str) -> None:
    with pytest.raises(ImproperlyConfigured, match="SECRET_KEY"):
        secret_key(key, PUBLIC, tmp_path)
    assert not list(tmp_path.iterdir())


def test_a_sound_key_is_taken_and_one_is_made_for_this_machine_alone(tmp_path: Path) -> None:
    assert secret_key(SOUND_KEY, PUBLIC, tmp_path) == SOUND_KEY
    made = secret_key("", ["localhost"], tmp_path)
    assert secret_key("", ["localhost"], tmp_path) == made
    assert (tmp_path / "secret-key").stat().st_mode & 0o077 == 0


def test_a_token_that_could_be_guessed_is_refused() -> None:
    assert long_enough("METRICS_TOKEN", "") == ""
    assert long_enough("METRICS_TOKEN", "x" * 24) == "x" * 24
    with pytest.raises(ImproperlyConfigured, match="METRICS_TOKEN"):
        long_enough("METRICS_TOKEN", "x" * 23)


def _in_production(tmp_path: Path, code: str, **changed: str) -> subprocess.CompletedProcess[str]:
    environment = {
        "PATH": os.environ["PATH"],
        "DJANGO_SETTINGS_MODULE": "fleetcare.config.settings",
        "FLEETCARE_DATA": str(tmp_path),
        "DATABASE_URL": "sqlite://:memory:",
        "SECRET_KEY": SOUND_KEY,
        "ALLOWED_HOSTS": "fleet.example",
        "HTTPS": "true",
        "BEHIND_PROXY": "true",
        **changed,
    }
    return subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=environment, capture_output=True, text=True)


@pytest.mark.slow
def test_production_settings_pass_djangos_list_and_set_cookies_for_this_host_alone(tmp_path: Path) -> None:
    done = _in_production(tmp_path, PROBE)
    assert done.returncode == 0, done.stderr[-2000:]
    told = json.loads(done.stdout)
    assert (told["debug"], told["hosts"], told["admin"]) == (False, ["fleet.example"], False)
    csrf = told["cookies"]["__Host-csrf"]
    # The prefix __Host- holds only with these three (RFC 6265bis).
    assert (csrf["secure"], csrf["path"], csrf["domain"]) == (True, "/", "")
    assert (csrf["httponly"], csrf["samesite"]) == (True, "Lax")
    assert told["session"] == ["__Host-session", True, True]
    assert told["hsts"] == "max-age=31536000; includeSubDomains; preload"
    assert told["plain"] == [301, "https://fleet.example/sign-in/"]
    assert told["forged"][0] == 400
    assert "Traceback" not in told["forged"][1]


@pytest.mark.slow
@pytest.mark.parametrize("key", ["", "x" * 49])
def test_a_process_does_not_start_with_a_weak_key(tmp_path: Path, key: str) -> None:
    done = _in_production(tmp_path, "import django; django.setup()", SECRET_KEY=key)
    assert done.returncode != 0
    assert "SECRET_KEY" in done.stderr

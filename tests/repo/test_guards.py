"""Guards over the whole house: purity, sizes, names in strings, migrations, description, settings, words."""

import ast
import importlib
import io
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.apps import apps
from django.core.management import call_command
from django.utils.module_loading import import_string

ROOT = Path(__file__).parents[2]
PURE = ("fleetcare.kernel", "inspections.core", "inspections.catalogue", "scheduling.core")
FRAMEWORKS = ("django", "rest_framework", "celery", "kombu", "redis", "psycopg", "scipy", "pandas", "highspy", "typst")
LONGEST_MODULE, LONGEST_FUNCTION = 350, 50


def tracked(*suffixes: str) -> list[Path]:
    listed = subprocess.run(
        ["git", "ls-files", "-co", "--exclude-standard"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return [ROOT / line for line in listed.stdout.splitlines() if line.endswith(suffixes) and (ROOT / line).exists()]


def sources() -> list[Path]:
    return [path for path in tracked(".py") if "migrations" not in path.parts]


def pure_modules() -> Iterator[str]:
    for package in PURE:
        folder = ROOT / package.replace(".", "/")
        for path in sorted(folder.rglob("*.py")):
            name = ".".join(path.relative_to(ROOT).with_suffix("").parts)
            yield name.removesuffix(".__init__")


def test_no_pure_module_loads_a_framework() -> None:
    # One fresh interpreter for each would cost a minute; what one loads shows on the way.
    code = f"""
import importlib, sys
for name in {list(pure_modules())!r}:
    importlib.import_module(name)
    loaded = [f for f in {FRAMEWORKS!r} if f in sys.modules]
    assert not loaded, (name, loaded)
"""
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True)


def test_a_web_process_starts_without_the_heavy_libraries() -> None:
    code = """
import os, sys
os.environ["DJANGO_SETTINGS_MODULE"] = "fleetcare.config.settings"
import django
django.setup()
from django.urls import get_resolver
get_resolver().url_patterns
from fleetcare.config import wsgi
heavy = [name for name in ("scipy", "pandas", "highspy", "typst", "matplotlib") if name in sys.modules]
assert not heavy, heavy
"""
    subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=True)


def test_modules_and_functions_stay_readable() -> None:
    long = []
    for path in sources():
        if "tests" in path.relative_to(ROOT).parts:
            continue
        text = path.read_text(encoding="utf-8")
        if text.count("\n") > LONGEST_MODULE:
            long.append(f"{path.relative_to(ROOT)}: {text.count(chr(10))} lines")
        long += [
            f"{path.relative_to(ROOT)}:{node.lineno} {node.name}"
            for node in ast.walk(ast.parse(text))
            if isinstance(node, ast.FunctionDef) and (node.end_lineno or 0) - node.lineno >= LONGEST_FUNCTION
        ]
    assert not long


def test_every_dotted_name_in_the_settings_resolves() -> None:
    from fleetcare.config import celery_app

    text = (ROOT / "fleetcare/config/settings.py").read_text(encoding="utf-8")
    names = re.findall(r'"((?:fleetcare|inspections|scheduling)\.[\w.]+)"', text)
    labels = {config.name for config in apps.get_app_configs()}
    assert len(names) > 10
    for name in names:
        if name not in labels and not name.endswith(".settings") and name not in celery_app.tasks:
            _resolved(name)


def _resolved(name: str) -> object:
    try:
        return importlib.import_module(name)
    except ModuleNotFoundError:
        return import_string(name)


def test_every_task_that_is_rung_for_exists() -> None:
    from fleetcare.config import celery_app

    rung = {
        name
        for path in sources()
        for name in re.findall(r'ring_after_commit\(\s*"([\w.]+)"', path.read_text(encoding="utf-8"))
    }
    assert rung
    assert rung | {"scheduling.tick"} <= set(celery_app.tasks)


@pytest.mark.django_db
def test_models_and_migrations_agree() -> None:
    call_command("makemigrations", check=True, dry_run=True, stdout=io.StringIO())


def test_the_committed_description_is_the_generated_one_without_a_warning(tmp_path: Path) -> None:
    made = tmp_path / "openapi.yaml"
    call_command("spectacular", validate=True, fail_on_warn=True, file=str(made))
    # Compared as bytes: parsing either takes ten times as long as making one.
    assert made.read_bytes() == (ROOT / "openapi.yaml").read_bytes(), "run `make schema`"


def test_every_setting_read_from_the_environment_is_documented() -> None:
    text = (ROOT / "fleetcare/config/settings.py").read_text(encoding="utf-8")
    read = set(re.findall(r'env\.\w+\(\s*"([A-Z_]+)"', text))
    documented = set(re.findall(r"^([A-Z_]+)=", (ROOT / ".env.example").read_text(encoding="utf-8"), re.MULTILINE))
    assert read == documented


def test_the_lock_names_no_registry() -> None:
    for path in ROOT.glob("requirements*.txt"):
        assert "://" not in path.read_text(encoding="utf-8"), path.name


def test_tenant_rows_are_reached_only_through_their_fleet() -> None:
    """Outside the scoping module every `objects.` of a tenant model is followed by `within(` or makes a new row."""
    from fleetcare.support.tenancy import TenantModel

    tenants = {model.__name__ for model in apps.get_models() if issubclass(model, TenantModel)}
    allowed = r"(within|create|bulk_create|bulk_update)\("
    # The two ways in from outside any fleet: a key by its prefix, a person's memberships; and the workers' sweeps.
    doors = {
        "key_by_prefix",
        "fleets_of",
        "stale_standings",
        "moving_due",
        "fleets_with_news_of_due",
        "named_files",
        "find_shared_link",
        "waiting_exchanges",
        "expired_exchanges",
        "fleets_with_waiting_events",
        "untold_deliveries",
        "every_letter",
        "every_hook",
        "letters_of_batch",
        "readers_of",
        "old_events",
        "calendar_link",
        "members_never_asked",
        "contacts_never_asked",
        "plans_to_solve",
        "estimate_by_digest",
        "find_invitation",
        "find_leaving",
        "leaving_now",
        "sole_owned",
        "lonely_fleets",
        "addressed_invitations",
        "note_of_account",
    }
    odd = []
    for path in sources():
        if path.relative_to(ROOT).parts[0] == "tests":
            continue
        text = path.read_text(encoding="utf-8")
        inside = {
            n.name: (n.lineno, n.end_lineno or 0) for n in ast.walk(ast.parse(text)) if isinstance(n, ast.FunctionDef)
        }
        for number, line in enumerate(text.splitlines(), 1):
            for model, call in re.findall(r"\b(\w+)\.objects\.(.*)", line):
                where = {name for name, (first, last) in inside.items() if first <= number <= last}
                if model in tenants and not re.match(allowed, call) and not where & doors:
                    odd.append(f"{path.relative_to(ROOT)}:{number}: {line.strip()}")
    assert not odd


def test_commands_in_the_documents_exist() -> None:
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    targets = set(re.findall(r"^([a-z]+):", makefile, re.MULTILINE))
    for name in ("README.md", "DEVELOPERS.md"):
        text = (ROOT / name).read_text(encoding="utf-8")
        assert set(re.findall(r"`make ([a-z]+)", text)) <= targets
        for path in re.findall(r"`((?:fleetcare|inspections|scheduling|tests|fixtures_demo)/[\w./-]+)`", text):
            assert (ROOT / path).exists(), f"{name} names {path}"

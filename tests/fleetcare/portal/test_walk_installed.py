"""The installed page: manifest, icons, worker, and the answer to who is signed in."""

import json
import re
from pathlib import Path
from typing import Any

import pytest
from django.contrib.staticfiles import finders
from django.test import Client
from PIL import Image

from fleetcare.fleet.words import Role
from fleetcare.portal.web.walk.installed import FILES, WORKER
from tests.conftest import Cast

MOST_BYTES = 16_000
"""Of a script; a phone with one bar loads it in a second or two."""


def static_path(address: str) -> Path:
    return Path(str(finders.find(address.removeprefix("/static/"))))


def test_the_manifest_has_what_an_installation_takes(client: Client) -> None:
    answer = client.get("/manifest.webmanifest")
    assert answer["Content-Type"] == "application/manifest+json"
    body = json.loads(answer.content)
    assert (body["start_url"], body["scope"], body["display"]) == ("/", "/", "standalone")
    purposes = set()
    for icon in body["icons"]:
        path = static_path(icon["src"])
        if icon["type"] == "image/png":
            with Image.open(path) as picture:
                assert f"{picture.width}x{picture.height}" == icon["sizes"]
            purposes.add(icon["purpose"])
    assert purposes == {"any", "maskable"}


def test_a_maskable_icon_reaches_to_its_edges_and_keeps_its_mark_inside_every_mask() -> None:
    with Image.open(static_path("/static/fleetcare/walk/icon-maskable-512.png")) as opened:
        picture = opened.convert("RGB")
    ground = picture.getpixel((0, 0))
    size = picture.width
    # W3C manifest: what matters lies in the circle of 40 % of the width around the middle.
    outside = [
        picture.getpixel((x, y))
        for x in range(0, size, 8)
        for y in range(0, size, 8)
        if (x - size / 2) ** 2 + (y - size / 2) ** 2 > (0.41 * size) ** 2
    ]
    assert set(outside) == {ground}
    assert picture.getpixel((size // 2, size // 2)) != ground


def test_the_worker_is_served_at_the_root_with_the_files_it_keeps(client: Client) -> None:
    answer = client.get("/sw.js")
    assert answer["Content-Type"].startswith("text/javascript")
    assert answer["Cache-Control"] == "no-cache"
    told = json.loads(re.match(r"const TOLD = (\{.*?\});\n", answer.content.decode())[1])
    for file in [*told["files"], told["offline"]]:
        path = static_path(file) if file.startswith("/static/") else None
        assert path.is_file() if path else client.get(file).status_code == 200
    assert (told["signIn"], told["signOut"]) == ("/sign-in/", "/sign-out/")


def test_every_script_a_page_loads_is_kept_by_the_worker_and_small() -> None:
    for name in (WORKER, *FILES):
        text = static_path(f"/static/{name}").read_text()
        if name.endswith(".js"):
            assert len(text.encode()) < MOST_BYTES
            for imported in re.findall(r'from "\./(\w+\.js)"', text):
                assert f"fleetcare/walk/{imported}" in FILES
        assert not re.search(r"https?://(?!www\.w3\.org)", text), name


def test_the_page_without_a_connection_says_nothing_of_anybody(cast: Cast, browser_of: Any) -> None:
    signed_in, nobody = browser_of(cast, Role.OWNER).get("/offline/"), Client().get("/offline/")
    assert signed_in.content == nobody.content
    assert cast.members[Role.OWNER].email not in signed_in.content.decode()


@pytest.mark.django_db
def test_who_is_signed_in_is_told_with_a_token_and_never_stored(cast: Cast, browser_of: Any) -> None:
    answer = browser_of(cast, Role.INSPECTOR).get("/session/")
    assert answer.json()["user"] == str(cast.members[Role.INSPECTOR].pk)
    assert answer.json()["token"]
    assert "no-store" in answer["Cache-Control"]
    assert Client().get("/session/").json() == {"user": None, "token": None}

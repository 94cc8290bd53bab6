"""The API's description is served as committed, in both forms, to anybody and cheaply."""

import time
from pathlib import Path

import yaml
from django.test import Client

COMMITTED = Path(__file__).parents[3] / "openapi.yaml"


def test_yaml_is_the_committed_file_and_json_says_the_same() -> None:
    answer = Client().get("/api/v1/schema/")
    assert answer["Content-Type"] == "application/yaml"
    assert answer.content == COMMITTED.read_bytes()
    as_json = Client().get("/api/v1/schema/?format=json")
    assert as_json["Content-Type"] == "application/json"
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    assert as_json.json() == yaml.load(answer.content, Loader=loader)  # noqa: S506  # both are safe ones


def test_another_form_is_refused_with_the_two_there_are() -> None:
    answer = Client().get("/api/v1/schema/?format=xml")
    assert answer.status_code == 400
    assert "yaml, json" in answer.json()["detail"]


def test_a_stranger_costs_nothing_by_asking_often() -> None:
    Client().get("/api/v1/schema/")
    began = time.process_time()
    for _ in range(10):
        assert Client().get("/api/v1/schema/").status_code == 200
    # Making it anew took more than a second a time.
    assert time.process_time() - began < 1

"""The JSON Schema for editors: up to date, valid, and of one mind with the loader on the starter."""

import copy
import json

import jsonschema
import pytest

from receiver_sim.schema.generate import SCHEMA_FILE, build_schema_text
from receiver_sim.schema.loading import _STARTER
from receiver_sim.schema.located_yaml import read_located


@pytest.fixture(scope="module")
def schema():
    return json.loads(SCHEMA_FILE.read_text(encoding="utf-8"))


@pytest.fixture
def starter():
    return copy.deepcopy(read_located(_STARTER).data)


def test_up_to_date(schema):
    assert schema == json.loads(build_schema_text()), "run: python -m receiver_sim.schema.generate"


def test_valid_schema(schema):
    jsonschema.Draft202012Validator.check_schema(schema)


def test_the_starter_passes(schema, starter):
    jsonschema.Draft202012Validator(schema).validate(starter)


@pytest.mark.parametrize(
    ("section", "key", "value"),
    [
        ("detector", "grid_leak", 2.2e6),
        ("detector", "grid_leak", "2.2 Mohms or so"),
        ("detector", "grid_leak", "100 pF"),
        ("detector", "colour", "red"),
        ("detector", "tube", "../6K7"),
        ("regeneration", "law", "lin"),
        ("supply", "volts", None),
        ("mains", "frequency", 50),
    ],
)
def test_faults_are_marked(schema, starter, section, key, value):
    starter[section][key] = value
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(schema).validate(starter)


@pytest.mark.parametrize("value", ["2.2 Mohm", "2M2", "2.2 M\u03a9", "2200 kohm", "2.2e6 ohm"])
def test_ways_to_write_a_value(schema, starter, value):
    starter["detector"]["grid_leak"] = value
    jsonschema.Draft202012Validator(schema).validate(starter)

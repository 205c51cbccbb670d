"""The published JSON Schemas: packaged as they follow from the types, and kept by what is really written."""

import json
from dataclasses import replace
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from jsonschema.exceptions import ValidationError

from nesting.layout import Layout
from nesting.report.facts import CheckFacts
from nesting.report.figures import figures
from nesting.report.published import derived, published
from nesting.report.yields.facts import CutFact
from nesting.report.yields.gathered import gathered
from nesting.shop import Prices, Shop

NAMES = ("oddplate-yield/1", "oddplate-yields/1")
SHOP = Shop(amps=65.0, prices=Prices(new_per_kg=2.0, remnant_per_kg=1.0, scrap_per_kg=0.2, currency="EUR"))


def _closed(schema: Any) -> Any:
    """The same schema, refusing keys that it does not name."""
    if isinstance(schema, dict):
        closed = {k: _closed(v) for k, v in schema.items()}
        return closed | {"additionalProperties": False} if "properties" in schema else closed
    return [_closed(v) for v in schema] if isinstance(schema, list) else schema


@pytest.mark.parametrize("name", NAMES)
def test_what_is_packaged_follows_from_the_types(name: str) -> None:
    """After a change of facts write `derived` into nesting/report/schemas; raise the number if readers break by it."""
    assert json.loads(published(name)) == derived(name)
    Draft202012Validator.check_schema(derived(name))


@pytest.mark.parametrize("searched", [True, False])
def test_reports_keep_their_schema_and_have_no_key_beyond_it(sample: Layout, searched: bool) -> None:
    layout = sample if searched else replace(sample, search=None, plate=replace(sample.plate, thickness_mm=None))
    one = figures(layout, SHOP, check=CheckFacts(passed=True, summary="fine"), notes=("a note",))
    several = gathered([CutFact(report=one), CutFact(report=one)], title="two")

    for name, report in zip(NAMES, (one, several), strict=True):
        document = json.loads(json.dumps(report.as_json(), allow_nan=False))
        Draft202012Validator(_closed(derived(name))).validate(document)


def test_a_broken_report_is_refused_by_its_schema(sample: Layout) -> None:
    document = json.loads(json.dumps(figures(sample, SHOP).as_json()))
    document["parts"][0]["area_mm2"] = "12 cm2"

    with pytest.raises(ValidationError, match="'12 cm2' is not of type 'number'"):
        Draft202012Validator(json.loads(published(NAMES[0]))).validate(document)

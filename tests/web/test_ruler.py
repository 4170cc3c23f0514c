"""The ruler through the API: any shape, refused where no box can be."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi.testclient import TestClient

from tests.web.conftest import PASSPHRASE


def ask(client: TestClient, **box: Any) -> tuple[int, Any]:
    answer = client.post("/api/ruler", json=box)
    return answer.status_code, answer.json()


def test_it_needs_a_login(client: TestClient) -> None:
    assert ask(client, inside_m=[1.2, 0.6, 0.6])[0] == 401


def test_a_box_and_a_tube_of_its_sides_come_to_the_same(client: TestClient) -> None:
    """Panels of 25 mm by ISO 6946, stirred: 1/(1/12.5 + 0.025/0.024 + 0.13) = 0.799 W/m2K."""
    client.post("/api/login", json={"passphrase": PASSPHRASE})
    moulds = [{"name": "mould", "mass_kg": 9.0}]
    status, box = ask(client, inside_m=[1.2, 0.6, 0.6], moulds=moulds, card="polyester-laminating",
                      catalyst_pct=2.0)  # fmt: skip
    assert status == 200, box
    assert box["loss_w_per_k"] - box["leak_w_per_k"] == pytest.approx(3.6 * 0.799, rel=0.005)
    assert [f["name"] for f in box["faces"]][:2] == ["floor", "lid"]
    assert any("300 W keeps this box" in said for said in box["meaning"])
    assert any("Left alone it gels" in said for said in box["one_heat"]["sentences"])
    status, tube = ask(client, tube_m=[0.6] * 4, length_m=1.2, moulds=moulds)
    assert status == 200, tube
    assert tube["loss_w_per_k"] == pytest.approx(box["loss_w_per_k"], rel=1e-6)
    panels = [{"name": "all", "area_m2": 3.6}]
    status, listed = ask(client, panels=panels, volume_m3=0.432, moulds=moulds)
    assert status == 200, listed
    assert listed["outline_m"] == []
    assert listed["area_m2"] == pytest.approx(3.6)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ({}, "one of inside_m"),
        ({"tube_m": [3.0, 1.0, 1.0], "length_m": 1.0}, "do not close"),
        ({"tube_m": [1.0, 1.0, 1.0]}, "length is missing"),
        ({"inside_m": [1.0, 1.0, 1.0], "hold_c": 3.0}, "not above the ambient"),
        ({"inside_m": [1.0, 1.0, 1.0], "power_w": 0.0}, "power_w"),
        ({"inside_m": [1.0, 1.0, 1.0], "heat_to_c": 5.0}, "warms nothing"),
        ({"inside_m": [1.0, 1.0, 1.0], "card": "vinyl-ester", "catalyst_pct": 4.9}, "catalyst"),
    ],
)
def test_what_is_no_box_is_refused(client: TestClient, asked: dict[str, Any], said: str) -> None:
    client.post("/api/login", json={"passphrase": PASSPHRASE})
    status, problem = ask(client, **asked)
    assert status == 422, problem
    assert said in problem["detail"]

"""The page's numbers in °F, by the functions themselves."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest

from tests.__main__ import PAGE, node

ASKED = """
const [page, outfile] = process.argv.slice(1);
require(page + "/node_modules/esbuild").buildSync({
  entryPoints: [page + "/src/words.ts"], bundle: true, format: "cjs", platform: "node", outfile,
});
const w = require(outfile);
console.log(JSON.stringify([
  w.degrees(-40, "F"), w.degrees(100, "F"), w.degrees(21.5, "C"), w.celsius(212, "F"),
  w.steps(5, "F"), w.steps(0, "F"), w.steps(5, "C"),
]));
"""


def test_a_temperature_has_a_zero_to_shift_and_a_difference_has_none(tmp_path: Path) -> None:
    """NIST special publication 811, appendix B.8: t/°F = 1.8 t/°C + 32, and 1 K is 1.8 °F."""
    asked = [str(node()[0]), "-e", ASKED, str(PAGE), str(tmp_path / "words.cjs")]
    done = subprocess.run(asked, check=True, timeout=60, capture_output=True, text=True)
    assert json.loads(done.stdout) == pytest.approx([-40.0, 212.0, 21.5, 100.0, 9.0, 0.0, 5.0])

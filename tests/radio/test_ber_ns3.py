"""The same error model as compiled into ns-3 3.44 (PyPI `ns3` 3.44.post0, lr-wpan-error-model.cc).

`ns3_rates.txt` is what the program below prints there: signal to noise in dB, number of bits, and
GetChunkSuccessRate of both.  Where the wheel and a C++ compiler are, the program is run anew.  It is
a program because the wheel's Python bindings end with a segmentation fault when they make the
model; `importlib` only finds the wheel, and nothing of ns-3 is loaded into this process.
"""

from __future__ import annotations

import importlib.util
import math
import shutil
import subprocess
from pathlib import Path

import pytest

from radiocheck.radio import ber

SAVED = (Path(__file__).parent / "ns3_rates.txt").read_text().splitlines()
PROGRAM = r"""
#include <cmath>
#include <cstdio>
#include <ns3/lr-wpan-error-model.h>
#include <ns3/object.h>
namespace ns3 { namespace lrwpan {} }
using namespace ns3;
using namespace ns3::lrwpan;
int main() {
  Ptr<LrWpanErrorModel> model = CreateObject<LrWpanErrorModel>();
  for (int db = -10; db <= 6; ++db)
    for (int bits : {1, 40, 160, 1064})
      std::printf("%d %d %.17g\n", db, bits, model->GetChunkSuccessRate(std::pow(10.0, db / 10.0), bits));
}
"""


def _wheel() -> Path | None:
    found = importlib.util.find_spec("ns3")
    return Path(found.origin).parent if found is not None and found.origin else None


def test_ns3_has_the_same_rates() -> None:
    """The same success of 1 to 1064 bits from −10 to +6 dB."""
    assert len(SAVED) == 17 * 4
    for line in SAVED:
        sinr, bits, success = line.split()
        ours = math.exp(int(bits) * math.log1p(-ber.bit_error_rate(float(sinr))))
        assert ours == pytest.approx(float(success), rel=1e-9, abs=1e-300)


@pytest.mark.skipif(_wheel() is None, reason="ns-3 is not installed (520 MB; HEAVY=1 .ci/run)")
@pytest.mark.skipif(shutil.which("g++") is None, reason="no C++ compiler")
def test_what_was_saved_is_what_ns3_says(tmp_path: Path) -> None:
    """The saved rates are those that the installed ns-3 prints."""
    wheel = _wheel()
    assert wheel is not None
    (tmp_path / "rates.cc").write_text(PROGRAM)
    [library] = wheel.glob("lib*/libns3*-lr-wpan.so")
    names = [
        file.stem.removeprefix("lib") for part in ("lr-wpan", "core") for file in library.parent.glob(f"*-{part}.so")
    ]
    subprocess.run(
        ["g++", "-std=c++20", f"-I{wheel / 'include'}", "rates.cc", f"-L{library.parent}", "-o", "rates"]
        + [f"-l{name}" for name in names]
        + [f"-Wl,-rpath,{library.parent}", f"-Wl,-rpath-link,{library.parent}"],
        cwd=tmp_path,
        check=True,
    )
    printed = subprocess.run([tmp_path / "rates"], capture_output=True, text=True, check=True).stdout.splitlines()
    assert [line.split()[:2] for line in printed] == [line.split()[:2] for line in SAVED]
    for ours, theirs in zip(SAVED, printed, strict=True):
        assert float(ours.split()[2]) == pytest.approx(float(theirs.split()[2]), rel=1e-12, abs=1e-300)

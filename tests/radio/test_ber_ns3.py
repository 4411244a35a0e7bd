"""The same error model as compiled into ns-3, where its wheel (PyPI `ns3`) and a C++ compiler are there.

It is called from a small program, because the wheel's Python bindings end with a
segmentation fault when they make the model.  `importlib` only finds the wheel; nothing of
ns-3 is loaded into this process.
"""

from __future__ import annotations

import importlib.util
import math
import shutil
import subprocess
from pathlib import Path

import pytest

from radiocheck.radio import ber

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


@pytest.mark.skipif(_wheel() is None, reason="ns-3 is not installed (pip install ns3, 520 MB)")
@pytest.mark.skipif(shutil.which("g++") is None, reason="no C++ compiler")
def test_ns3_has_the_same_rates(tmp_path: Path) -> None:
    """ns-3, lr-wpan-error-model.cc, GetChunkSuccessRate: the same success of 1 to 1064 bits from −10 to +6 dB."""
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
    assert len(printed) == 17 * 4
    for line in printed:
        sinr, bits, success = line.split()
        ours = math.exp(int(bits) * math.log1p(-ber.bit_error_rate(float(sinr))))
        assert ours == pytest.approx(float(success), rel=1e-9, abs=1e-300)

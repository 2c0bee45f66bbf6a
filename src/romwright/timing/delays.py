"""What lies between a CPU and a chip takes time: gates, buffers and latches; unknown where their delay was not read."""

from __future__ import annotations

from romwright.boards.gluedelays import find_glue
from romwright.timing.quantity import Quantity, known, unknown


def glue_delay(number: str, where: str = "", enable: bool = False) -> Quantity:
    """Return the largest delay of a glue chip, from its inputs or its enables; `where` names it on the board."""
    chip, label = find_glue(number), f"{where} ({number})" if where else number
    if chip is None:
        return unknown(f"the delay of {label}", "not in pinmaps/delays.toml")
    if enable and chip.enable_ns is None and "three-state buffer" in chip.kinds:
        return unknown(f"the delay of {label} from its enable", "its sheet was read for the data input only")
    if enable and chip.enable_ns is not None:
        return known(f"the delay of {label} from an enable", chip.enable_ns, chip.basis, chip.unchecked)
    return known(f"the delay of {label}", chip.delay_ns, chip.basis, chip.unchecked)

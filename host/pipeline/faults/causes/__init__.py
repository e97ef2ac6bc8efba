"""All causes and rules. A new cause is one module more in FAMILIES, or one `Cause` more in a family's module.

A module has CAUSES and RULES. The test over this registry asks for a section in FAULTS.md, for a disturbance of the
simulator or the reason why there is none, and for a case.
"""

from __future__ import annotations

from host.pipeline.faults.causes import boom, link, no_flow, pulses, sections, supply, transducer, wheel
from host.pipeline.faults.causes.cause import Cause, Evidence, Rule, Verdict

FAMILIES = (boom, sections, pulses, no_flow, supply, transducer, wheel, link)
CAUSES: dict[str, Cause] = {cause.name: cause for family in FAMILIES for cause in family.CAUSES}
RULES: dict[str, Rule] = {rule.name: rule for family in FAMILIES for rule in family.RULES}

__all__ = ["CAUSES", "FAMILIES", "RULES", "Cause", "Evidence", "Rule", "Verdict"]

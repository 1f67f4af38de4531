"""All contradictions that plain arithmetic finds in a filled-in instrument."""

from graduale.base.findings import Finding
from graduale.files import fit_body, fit_parts
from graduale.files.view import View
from graduale.records.instrument import Instrument

_RULES = (
    fit_parts.bridge_rules,
    fit_parts.string_rules,
    fit_parts.post_rules,
    fit_parts.bar_rules,
    fit_parts.workshop_rules,
)
_PLATE_RULES = (fit_body.arch_rules, fit_body.inside_rules, fit_body.board_rules)


def contradictions(instrument: Instrument, name: str) -> tuple[Finding, ...]:
    """Errors (unusable) and warnings (doubtful); `name` is the file's name for the sentences."""
    v = View(instrument, name)
    found = list(fit_body.body_rules(v))
    for which in fit_body.PLATES:
        for plate_rule in _PLATE_RULES:
            found += plate_rule(v, which)
    for rule in _RULES:
        found += rule(v)
    return tuple(found)

"""What went wrong in a run: one section for each fault, and what was looked for."""

from __future__ import annotations

import math

from host.documents.document import Fact, Facts, Message, Messages, Quantity, Section, quantity
from host.documents.words import capital, format_day, percent, sentence
from host.pipeline import Fault
from host.pipeline.faults.causes import CAUSES
from host.review.board_said import OTHER_BOARD_CHECK, OTHER_BOARD_WORDS, other_boards_s
from host.review.hidden_ground import hidden_in
from host.review.place import place_of
from host.review.review import EXPANDED, Review

FAULTS = "faults"
_SAYS_SO_S = 2.0  # after its first report at the latest a board has said who it is
_APPLIED = {"under": ", under-applied", "over": ", over-applied"}
_ALARM = {"raised": "on", "seen": "acknowledged", "cleared": "off", "muted": "sound off", "unmuted": "sound on"}


def faults_section(review: Review, system: str) -> Section:
    """When, what, for how long, on how much ground, and what to look at first; in JSON a list of faults."""
    said = [Message(_basis(review))]
    if not review.watched:
        why = review.totals.why_not_known
        said = [Message("Not looked for." if review.totals.heard else f"Not looked for: {why}.")]
    elif not review.faults and review.measured.meter:
        said = [Message(f"None found. {_basis(review)}")]
    elif not review.faults:
        said = [Message(f"{_basis(review)} There nothing was found.")]
    sound = _alarm_words(review, 0)
    if sound:
        said.append(Message(f"Alarm: {sound}."))
    looked = Facts(
        (
            Fact("faults_looked_for", "", review.watched),
            Fact("catch_test", "", review.catch.made.isoformat() if review.catch else None),
        )
    )
    return Section(
        FAULTS,
        "Faults",
        (looked, Messages(tuple(said), "faults_basis")),
        sections=tuple(_fault(fault, review, system) for fault in review.faults),
        listed=True,
    )


def _fault(fault: Fault, review: Review, system: str) -> Section:
    cause = CAUSES[fault.kind]
    words, checks = words_of(fault, review), OTHER_BOARD_CHECK if _by_another(fault, review) else cause.check
    change = quantity(fault.change, "fraction", system, expanded_si=fault.change_u and EXPANDED * fault.change_u)
    nozzles = Quantity("", fault.nozzles, "", "", fault.nozzles_u and EXPANDED * fault.nozzles_u)
    facts = (
        Fact("number", "", fault.number),
        Fact("cause", "", fault.kind),
        Fact("words", "", words),
        Fact("or_else", "", fault.or_else),
        Fact("began_s", "", fault.began_s),
        Fact("called_s", "", fault.called_s),
        Fact("ended_s", "", fault.ended_s),
        Fact("", "Began", _began_words(fault, review, system)),
        Fact("change", "", change),
        Fact("nozzles", "", nozzles),
        Fact("sure", "", quantity(fault.sure, "fraction", system)),
        Fact("against", "", "catch test" if fault.against_catch else "run before"),
        Fact("", "Measured", _measured_words(fault, system)),
        Fact("area", "", quantity(fault.area_m2, "area", system)),
        Fact("applied", "", fault.dosed),
        _ground_fact(fault, review, system),
        *_unless_empty("tell_apart", "To tell them apart", sentence(cause.tell) if fault.or_else else ""),
        *_unless_empty("", "Alarm", capital(_alarm_words(review, fault.number))),
        Fact("urgent", "", cause.urgent),
    )
    check = Messages(tuple(Message(sentence(text), "advice") for text in checks), "check_first", "Check first:", True)
    return Section("", capital(words), (Facts(facts), check), level="warning")


def words_of(fault: Fault, review: Review) -> str:
    """A fault in a few words, as the whole run shows it."""
    return OTHER_BOARD_WORDS if _by_another(fault, review) else fault.words


def _by_another(fault: Fault, review: Review) -> bool:
    """Whether what looks like a restart is another board."""
    if fault.kind != "board_reset":
        return False
    return any(fault.began_s <= at_s <= fault.called_s + _SAYS_SO_S for at_s in other_boards_s(review.run.events))


def _unless_empty(key: str, label: str, text: str) -> tuple[Fact, ...]:
    return (Fact(key, label, text),) if text else ()


def _basis(review: Review) -> str:
    """What the boom was compared with, and so what could not be seen."""
    if not review.measured.meter:
        return "Without pulses of the flow meter only the supply, the board and its line are watched."
    if not review.measured.pressure:
        return "Without pressure readings clogs, leaks and wear cannot be seen."
    if review.catch is not None:
        basis = f"The boom is compared with the catch test of {format_day(review.catch.made, time=False)}."
        return f"{basis} {review.catch.bad_words}".strip()
    return "There is no catch test, so only what changed during the run is found."


def _began_words(fault: Fault, review: Review, system: str) -> str:
    """When and where; one that shows against the catch test was there when steady spraying began, or earlier."""
    earlier = " or before" if fault.against_catch else ""
    return f"{review.at(fault.began_s)}{earlier}, {_place_words(fault.began_s, review, system)}"


def _place_words(at_s: float, review: Review, system: str) -> str:
    """Which pass a moment lies in, and how far from its start."""
    place = place_of(review.track, review.passes, at_s)
    if place is None:
        return "between passes"
    return f"pass {place[0]}, {quantity(place[1], 'length', system).text} from its start"


def _measured_words(fault: Fault, system: str) -> str:
    """The change that was measured, and how sure the cause is."""
    sure = f"{percent(fault.sure)} sure" if fault.sure <= 0.99 else "more than 99 % sure"
    if fault.change is None or fault.change_u is None:
        return capital(sure)
    moved = quantity(abs(fault.change), "fraction", system, expanded_si=EXPANDED * fault.change_u).text
    against = " against the catch test" if fault.against_catch else ""
    direction = "up" if fault.change > 0 else "down"
    return f"Boom flow {direction} {moved} at the same pressure{against}; {sure}"


def _ground_fact(fault: Fault, review: Review, system: str) -> Fact:
    """How long it lasted and what the ground got meanwhile, as far as that is known; what rounds to nothing is left
    out, and is no line at all where nothing is left.
    """
    lasted = "To the end" if fault.ended_s is None else f"{fault.ended_s - fault.began_s:.0f} s"
    end_s = math.inf if fault.ended_s is None else fault.ended_s
    apart = [one for one in review.unassigned if one.start_s < end_s and one.end_s > fault.began_s]
    hidden = hidden_in(apart, review.known)
    hidden_m2, dry_m2 = hidden.area_m2, hidden.dry_m2
    if apart and not hidden_m2 + dry_m2 > 0:
        return Fact("", "On the ground", f"{lasted}, what was sprayed meanwhile is not assigned to ground")
    affected_m2 = fault.area_m2 if fault.area_m2 > hidden_m2 or not apart else 0.0
    affected, dry, hidden_area = (quantity(area_m2, "area", system) for area_m2 in (affected_m2, dry_m2, hidden_m2))
    much = "how much ground is not known" if affected.value is None else f"{affected.text} affected"
    said = [] if affected.reads_zero else [f"{much}{_APPLIED.get(fault.dosed, '')}"]
    said += [] if dry.reads_zero else [f"{dry.text} of it got nothing"]
    said += [] if hidden_area.reads_zero else [f"what about {hidden_area.text} got is not known"]
    if said:
        return Fact("", "On the ground", ", ".join([lasted, *said]))
    return Fact("", "Lasted" if lasted != "0 s" else "", lasted)


def _alarm_words(review: Review, number: int) -> str:
    """What the alarm over a fault did, and when; of its sound for number 0. Empty when it did nothing."""
    events = [event for event in review.alarms if event.number == number]
    return ", ".join(f"{_ALARM[event.what]} {review.at(event.at_s)}" for event in events)

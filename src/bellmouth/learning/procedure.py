"""A learning procedure as data: who does what, in which window, and what must stand meanwhile.

A procedure is a sequence of steps. Each step begins with one action (of the person or the car) at
a moment that a recording or a tap can show, and everything it asks is a window on the time between
two such moments. Nothing here counts from a cue: anchors are the previous action or an event of the
car. ``docs/procedures.md`` gives the meaning as a timed automaton.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

__all__ = [
    "ACTIONS",
    "EVENTS",
    "FORBIDDABLE",
    "SAFE_STATE",
    "UNSOURCED",
    "WORK",
    "Condition",
    "Procedure",
    "Sign",
    "Step",
    "Until",
    "Window",
    "action_words",
]

#: What marks a procedure that no source stands behind.
UNSOURCED = "common practice, no source"

#: What to do when an attempt is lost or anything feels wrong.
SAFE_STATE = "Pedal up, key off, wait 10 s."

#: Who acts, what they may do, and the words for it. The first word of a cue is the verb.
ACTIONS: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "key": {"on": "key on, engine off", "off": "key off"},
        "pedal": {
            "press": "press fully and hold",
            "release": "let go",
            "pump": "press fully and release",
            "rest": "pedal up, touch nothing",
            "rev": "rev lightly and return",
            "snap": "open and shut quickly",
        },
        "engine": {"start": "start the engine", "idle": "let it idle", "crank": "crank"},
        "gear": {"drive": "brake held, select Drive", "park": "select P or N"},
        "load": {"on": "load on", "off": "load off"},
        "road": {"drive": "drive"},
        "person": {"act": "do", "watch": "watch and listen", "wait": "wait"},
    }
)

#: What a step may forbid: the actions that a signal or a tap shows. A ban that nobody could watch
#: would be kept by everybody; what no signal shows is a condition that a person confirms.
FORBIDDABLE = ("key: on", "key: off", "pedal: press", "engine: start")

#: What the car shows, and who can tell: a signal of the recording or a mark by a person.
EVENTS: Mapping[str, str] = MappingProxyType(
    {
        "lamp_blinks": "the lamp starts blinking",
        "lamp_steady": "the lamp stops blinking and stays on",
        "lamp_on": "the lamp lights",
        "lamp_off": "the lamp goes out",
        "plate_moves": "the plate is heard to move",
        "fan_runs": "the cooling fan starts",
        "fan_stops": "the cooling fan stops",
        "engine_warm": "the coolant reaches working heat",
        "idle_settles": "the idle falls to its target and stays",
        "smoke_seen": "smoke comes out of the test vent",
        "reading_back": "the reading is back where it was",
    }
)


#: Work on the car that calls for a procedure.
WORK: Mapping[str, str] = MappingProxyType(
    {
        "throttle_cleaned": "plate or bore cleaned",
        "throttle_unplugged": "throttle body unplugged or taken off",
        "throttle_replaced": "throttle body replaced",
        "pedal_unplugged": "accelerator pedal or its sensor unplugged or replaced",
        "control_unit_unplugged": "engine control unit unplugged or replaced",
        "battery_disconnected": "battery disconnected",
        "meter_cleaned": "airflow meter cleaned or replaced",
        "leak_mended": "air leak mended",
        "fuel_mended": "fuel fault mended",
        "learned_stale": "idle learning that is out of date",
        "memory_cleared": "codes or learned values cleared",
        "leak_suspected": "air leak suspected",
        "cylinder_suspected": "one cylinder suspected",
        "meter_suspected": "airflow meter or restriction suspected",
        "sealing_suspected": "sealing of the engine suspected",
    }
)


@dataclass(frozen=True, slots=True)
class Window:
    """How long something may take, ends included, and what a coach aims at. [s]

    *At least* leaves ``most_s`` infinite, *at most* and *within* leave ``least_s`` at 0, *about*
    is ``aim_s`` plus and minus a tolerance.
    """

    least_s: float = 0.0
    most_s: float = math.inf
    about_s: float | None = None

    @property
    def aim_s(self) -> float:
        """What to aim at: the figure given, else the middle, else a little past the least. [s]"""
        if self.about_s is not None:
            return self.about_s
        if math.isinf(self.most_s):
            return self.least_s + max(0.5, 0.1 * self.least_s)
        return 0.5 * (self.least_s + self.most_s)

    def margin_s(self, measured_s: float) -> float:
        """Distance to the nearer edge; negative where the time lies outside by that much. [s]

        Zero is no edge to come near to: *within 3 s* has a margin of 2 s at 1 s.
        """
        if self.least_s <= 0 <= measured_s:
            return self.most_s - measured_s
        return min(measured_s - self.least_s, self.most_s - measured_s)


@dataclass(frozen=True, slots=True)
class Until:
    """An event of the car that ends a step.

    Attributes
    ----------
    event
        One of ``EVENTS`` or of the procedure's own events.
    timeout_s
        It must come within this after the step's action. [s]
    about_s
        When it usually comes, for the coach; None where nobody says. [s]
    earliest_s
        Sooner than this no car shows it; judges only what nobody watched. [s]
    signal, least, most
        The parameter that shows it by coming within these limits; empty where only a lamp or a
        person does. [the parameter's unit]
    """

    event: str
    timeout_s: float
    about_s: float | None = None
    earliest_s: float = 0.0
    signal: str = ""
    least: float = -math.inf
    most: float = math.inf


@dataclass(frozen=True, slots=True)
class Step:
    """One step: an action, the time from its anchor to it, and how long until the next action.

    Attributes
    ----------
    name
        Unique within the procedure, snake_case.
    who, do
        Actor and action, a pair of ``ACTIONS``.
    say
        The cue in a few words, verb first; spoken by the coach.
    show
        A sentence more, for the screen and the card.
    after
        The anchor: name of an earlier step or of an event that an earlier step waits for. A step's
        anchor is its end: the last release of a pump, the action itself of any other.
    after_s
        Window on the time from the anchor to this action, or None. [s]
    times, within_s
        How often, least and most, and the time from the first press to the last release in which
        they must all fit. [1], [s]
    lasts_s
        Window on the time from this action to the next step's action, or None: a wait, a hold, a
        time with the key off. [s]
    until
        The event that the step waits for, or None.
    stopped_by
        Event that stops the step's clock, and the one that lets it run on (``fan_runs``,
        ``fan_stops``); empty where the clock always runs.
    forbidden
        Actions that spoil the step, as ``"who: do"``.
    optional
        True where the attempt can be met without it.
    instead
        What may replace the step, with a reason on the record; empty where nothing may.
    if_missed
        The likely effect of missing it, one sentence.
    caution
        What can hurt someone at this step.
    line
        Where it stands in its file, 0 if nowhere.
    """

    name: str
    who: str
    do: str
    say: str
    show: str = ""
    after: str = ""
    after_s: Window | None = None
    times: tuple[int, int] = (1, 1)
    within_s: float = math.inf
    lasts_s: Window | None = None
    until: Until | None = None
    stopped_by: tuple[str, str] | tuple[()] = ()
    forbidden: tuple[str, ...] = ()
    optional: bool = False
    instead: str = ""
    if_missed: str = ""
    caution: str = ""
    line: int = 0

    @property
    def tone(self) -> str:
        """Which tone a coach gives it: ``press``, ``release`` or ``wait``."""
        if self.do in ("press", "pump", "rev", "snap"):
            return "press"
        return "release" if self.do == "release" else "wait"

    @property
    def cues(self) -> bool:
        """Whether the person acts at its beginning; a rest or an idle begins by itself."""
        return self.do not in ("rest", "idle")

    @property
    def aim_s(self) -> float:
        """How long a coach should plan for it, from its action to the next. [s]"""
        if self.do == "pump":
            most = self.within_s if math.isfinite(self.within_s) else 1.0 * self.times[0]
            return 0.8 * most
        if self.lasts_s is not None:
            return self.lasts_s.aim_s
        if self.until is not None:
            return self.until.timeout_s if self.until.about_s is None else self.until.about_s
        return 0.0


@dataclass(frozen=True, slots=True)
class Condition:
    """What must stand: before the start, or at every moment from one step to another.

    ``signal`` is a parameter's name, empty where only a person can tell. ``least`` and ``most``
    are in that parameter's own unit. A break shorter than ``shortest_s`` is taken not to happen,
    so a signal sampled more coarsely cannot show that the condition stood. ``engine`` limits it to
    ``"stopped"`` or ``"running"``; ``first`` and ``last`` name steps, empty for the whole.
    """

    name: str
    say: str
    when: str = "throughout"
    signal: str = ""
    least: float = -math.inf
    most: float = math.inf
    unit: str = ""
    shortest_s: float = 1.0
    engine: str = ""
    first: str = ""
    last: str = ""
    mend: str = ""
    line: int = 0


@dataclass(frozen=True, slots=True)
class Sign:
    """How the person knows that it took: ``how`` is ``seen``, ``heard`` or ``measured``."""

    how: str
    what: str


@dataclass(frozen=True, slots=True)
class Procedure:
    """A learning procedure.

    Attributes
    ----------
    name, title, catalogue
        Name to type (kebab-case), words to show, short number (``P4``) or empty.
    source
        Where it comes from; ``UNSOURCED`` where from nowhere but habit.
    steps, conditions
        In the order of the file, repeats unrolled.
    does
        What it makes the controller learn (or forget), for the plan.
    purpose, cautions, signs
        Words for the person: what for, what can hurt, how to know that it took.
    order
        Its place where a job needs several; lower goes first.
    called_for_by, requires, erases
        Work that calls for it; procedures to do first (where the job calls for them); what it
        wipes.
    engine
        ``stopped``, ``running`` or ``both``: full presses are made with the engine stopped only.
    events
        Its own events beside ``EVENTS``: name to words.
    file
        Name of the file that it was read from.
    """

    name: str
    title: str
    source: str
    steps: tuple[Step, ...]
    conditions: tuple[Condition, ...] = ()
    catalogue: str = ""
    purpose: str = ""
    does: str = ""
    cautions: tuple[str, ...] = ()
    signs: tuple[Sign, ...] = ()
    order: int = 50
    called_for_by: tuple[str, ...] = ()
    requires: tuple[str, ...] = ()
    erases: tuple[str, ...] = ()
    engine: str = "both"
    events: Mapping[str, str] = field(default_factory=dict)
    safe_state: str = SAFE_STATE
    file: str = ""

    @property
    def sourced(self) -> bool:
        """Whether somebody's manual stands behind it; if not it is off until that is checked."""
        return self.source != UNSOURCED

    def step(self, name: str) -> Step:
        """The step of a name; raises ``KeyError`` for none."""
        for step in self.steps:
            if step.name == name:
                return step
        raise KeyError(name)

    def every_event(self) -> tuple[str, ...]:
        """Names of the events that can be marked: the known ones and its own."""
        return (*EVENTS, *self.events)

    def event_words(self, event: str) -> str:
        """An event in words."""
        return self.events.get(event) or EVENTS.get(event, event.replace("_", " "))


def action_words(who: str, do: str) -> str:
    """An action in words; empty for a pair that is not in ``ACTIONS``."""
    return ACTIONS.get(who, {}).get(do, "")

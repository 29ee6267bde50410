"""The one table of the dialogue: for each state its triggers, their handlers, and the states that may follow.

It is the whole truth about the dialogue's shape: a trigger outside the row of the present state is refused, and a
handler that leads elsewhere than its cell allows is a defect. The diagram in README.md comes from it.
"""

from __future__ import annotations

from typing import Any

from assistant.core.dialogue import (
    anywhere,
    at_cautions,
    at_choices,
    at_facts,
    at_notes,
    at_pauses,
    at_perceptions,
    at_questions,
    at_read_backs,
    at_watching,
)
from assistant.core.dialogue.cells import Cell, Row, only, row
from assistant.core.dialogue.states import RELEASED, RETURNS, STEP_STARTS, State
from assistant.core.dialogue.triggers import Meaning, Trigger

_S = State
_STANDING_BY = only(_S.STANDING_BY)
_FACT = only(_S.INQUIRING, _S.CONFIRMING)
_CAUTIONED = only(_S.CAUTIONING, _S.ACKNOWLEDGING)
_PROPOSED = only(_S.READING_BACK)
_ASKED_AGAIN = only(_S.INQUIRING)

EVERYWHERE = row(
    Cell(Trigger.CRANK_HEARD, at_perceptions.crank_sound),
    Cell(Trigger.CRANK_SOUND, at_perceptions.crank_sound),
    Cell(Trigger.PERHAPS_CRANKING, at_perceptions.perhaps_cranking),
    Cell(Trigger.CRANK_ENDS, at_perceptions.crank_ends),
    Cell(Trigger.ENGINE_RUNS, at_perceptions.runs_untold),
    Cell(Trigger.PROPOSED, at_perceptions.shown_proposal),
    Cell(Trigger.SOUNDS, at_perceptions.sounds),
    Cell(Trigger.STANDS, at_perceptions.unasked),
    Cell(Trigger.STANDS_WRONG, at_perceptions.unasked),
    Cell(Trigger.METER_TOLD, at_perceptions.meter_told),
    over=anywhere.EVERYWHERE,
)
"""The cells that every state of an open session has; what was perceived is at least counted and shown."""

UNDISTURBED = row(
    *(EVERYWHERE[one] for one in EVERYWHERE if one not in anywhere.EVERYWHERE),
    Cell(Trigger.METER_TOLD, at_perceptions.meter_told_unsaid),
    over=anywhere.UNDISTURBED,
)
"""The same for states in which no notice may interrupt."""

WAITING = row(
    Cell(Trigger.SAY_AGAIN, anywhere.say_again),
    Cell(Trigger.CHOICES, anywhere.choices),
    Cell(Trigger.NO_MATCH, anywhere.not_understood),
    Cell(Trigger.NO_INPUT, anywhere.nothing_came),
    Cell(Trigger.CLOSE, anywhere.ask_to_close, _STANDING_BY),
    over=EVERYWHERE,
)
"""The cells of a state that waits for a person's answer, unless the state has its own."""

ROWS: dict[State, Row] = {
    _S.UNOPENED: row(
        Cell(Trigger.BEGIN, anywhere.begin, STEP_STARTS),
        Cell(Trigger.END, anywhere.end, only(_S.FINISHED)),
    ),
    _S.INQUIRING: row(
        Cell(Trigger.SIGNS, at_facts.signs, _FACT),
        Cell(Trigger.FACT, at_facts.fact, STEP_STARTS),
        Cell(Trigger.BLANK, at_facts.left_blank, STEP_STARTS),
        Cell(Trigger.THAT_IS_ALL, at_facts.that_is_all, _FACT),
        Cell(Trigger.TYPED, at_facts.typed, _FACT),
        Cell(Trigger.IMPLAUSIBLE, at_facts.implausible),
        Cell(Trigger.DENY, at_facts.deny),
        Cell(Trigger.CORRECTION, at_facts.correction, STEP_STARTS),
        Cell(Trigger.SAY_AGAIN, at_facts.say_again),
        Cell(Trigger.NOT_SURE, at_facts.not_sure),
        Cell(Trigger.NOTE, at_notes.note, only(_S.NOTING, _S.INQUIRING)),
        Cell(Trigger.OTHER_TEST, at_choices.other_test, only(_S.CHOOSING)),
        over=WAITING,
    ),
    _S.CONFIRMING: row(
        Cell(Trigger.AFFIRM, at_facts.affirm, STEP_STARTS),
        Cell(Trigger.DENY, at_facts.deny, _ASKED_AGAIN),
        Cell(Trigger.CORRECTION, at_facts.correction_while_confirming, _ASKED_AGAIN),
        Cell(Trigger.FACT, at_facts.other_fact),
        Cell(Trigger.SIGNS, at_facts.signs, _FACT),
        Cell(Trigger.BLANK, at_facts.left_blank, STEP_STARTS),
        Cell(Trigger.TYPED, at_facts.typed_while_confirming, _FACT),
        Cell(Trigger.IMPLAUSIBLE, at_facts.implausible, _ASKED_AGAIN),
        over=WAITING,
    ),
    _S.CAUTIONING: row(
        Cell(Trigger.SPOKEN, at_cautions.spoken, RELEASED),
        Cell(Trigger.GEAR_LOST, at_cautions.gear_lost, _CAUTIONED),
        Cell(Trigger.CRANK_SOUND, at_perceptions.crank_sound_at_cautions, _CAUTIONED),
        Cell(Trigger.CLOSE, anywhere.ask_to_close, _STANDING_BY),
        over=UNDISTURBED,
    ),
    _S.ACKNOWLEDGING: row(
        Cell(Trigger.ACKNOWLEDGE, at_cautions.acknowledge, RELEASED),
        Cell(Trigger.CORRECTION, at_cautions.correction, STEP_STARTS),
        Cell(Trigger.SAY_AGAIN, at_cautions.say_again, _CAUTIONED),
        Cell(Trigger.CRANK_SOUND, at_perceptions.crank_sound_before_ready),
        Cell(Trigger.WHY, anywhere.why),
        over=WAITING,
    ),
    _S.RESTING: row(
        Cell(Trigger.RESTED, at_questions.rested, only(_S.ASKING, _S.RESTING)),
        Cell(Trigger.SPOKEN, at_questions.rested, only(_S.ASKING, _S.RESTING)),
        Cell(Trigger.CRANK_HEARD, at_perceptions.crank_heard, only(_S.CRANKING)),
        Cell(Trigger.CRANK_SOUND, at_perceptions.crank_sound_at_rest),
        Cell(
            Trigger.CRANK_BEGINS,
            at_questions.crank_begins_at_rest,
            only(_S.RESTING, _S.ASKING, _S.CRANKING),
        ),
        Cell(Trigger.RESULT, at_questions.result_at_rest, RETURNS),
        Cell(Trigger.WRONG_PLACE, at_questions.wrong_place),
        Cell(Trigger.NO_ANSWER, at_questions.no_answer),
        Cell(Trigger.IMPLAUSIBLE, at_questions.implausible),
        Cell(Trigger.TYPED, at_questions.typed),
        Cell(Trigger.GO_ANYWAY, at_questions.go_anyway, only(_S.ASKING)),
        Cell(Trigger.NO_MATCH, anywhere.talk_beside),
        Cell(Trigger.CORRECTION, at_questions.correction_at_rest, STEP_STARTS),
        Cell(Trigger.SAY_AGAIN, at_questions.say_rest_again),
        Cell(Trigger.CHOICES, anywhere.choices),
        Cell(Trigger.WHY, anywhere.why),
        Cell(Trigger.NOTE, at_notes.note, only(_S.NOTING, _S.RESTING)),
        Cell(Trigger.SKIP, at_choices.skip, only(_S.SKIPPING, _S.RESTING)),
        Cell(Trigger.OTHER_TEST, at_choices.other_test, only(_S.CHOOSING)),
        Cell(Trigger.OTHER_LAMP, at_facts.other_lamp, STEP_STARTS),
        Cell(Trigger.CLOSE, anywhere.ask_to_close, _STANDING_BY),
        over=EVERYWHERE,
    ),
    _S.ASKING: row(
        Cell(Trigger.STOP, at_questions.stop_unannounced, _STANDING_BY),
        Cell(Trigger.RESULT, at_questions.result, RETURNS),
        Cell(Trigger.WRONG_PLACE, at_questions.wrong_place),
        Cell(Trigger.NO_ANSWER, at_questions.no_answer),
        Cell(Trigger.IMPLAUSIBLE, at_questions.implausible),
        Cell(Trigger.NO_MATCH, at_questions.not_understood),
        Cell(Trigger.CHANGE, at_watching.change),
        Cell(Trigger.UNDO_CHANGE, at_watching.undo),
        Cell(Trigger.CORRECTION, at_questions.correction, STEP_STARTS),
        Cell(Trigger.SAY_AGAIN, at_questions.say_again),
        Cell(Trigger.CHOICES, at_questions.choices),
        Cell(Trigger.WHY, at_questions.why),
        Cell(Trigger.NOT_SURE, at_questions.not_sure),
        Cell(Trigger.NOTE, at_notes.note, only(_S.NOTING, _S.ASKING)),
        Cell(Trigger.SKIP, at_choices.skip, only(_S.SKIPPING, _S.ASKING)),
        Cell(Trigger.OTHER_TEST, at_choices.other_test, only(_S.CHOOSING)),
        Cell(Trigger.OTHER_LAMP, at_facts.other_lamp, STEP_STARTS),
        Cell(Trigger.CRANK_BEGINS, at_questions.crank_begins, only(_S.CRANKING, _S.RESTING)),
        Cell(Trigger.CRANK_HEARD, at_perceptions.crank_heard, only(_S.CRANKING)),
        Cell(Trigger.ENGINE_RUNS, at_perceptions.engine_runs, only(_S.ASKING, _S.READING_BACK)),
        Cell(Trigger.PROPOSED, at_perceptions.proposed, _PROPOSED),
        Cell(Trigger.STANDS, at_perceptions.stands),
        Cell(Trigger.STANDS_WRONG, at_perceptions.stands_wrong),
        Cell(Trigger.TAKE_IT, at_perceptions.nothing_to_take),
        Cell(Trigger.TYPED, at_questions.typed),
        over=WAITING,
    ),
    _S.CRANKING: row(
        Cell(Trigger.STAND_BY, at_questions.stand_by_while_cranking, _STANDING_BY),
        Cell(Trigger.RESULT, at_questions.result_while_cranking, RETURNS),
        Cell(Trigger.WRONG_PLACE, at_questions.wrong_place_while_cranking, only(_S.ASKING, _S.CRANKING)),
        Cell(Trigger.NO_ANSWER, at_questions.no_answer_while_cranking, only(_S.ASKING, _S.CRANKING)),
        Cell(Trigger.IMPLAUSIBLE, at_questions.implausible_while_cranking, only(_S.ASKING, _S.CRANKING)),
        Cell(Trigger.NO_MATCH, at_questions.not_understood),
        Cell(Trigger.NO_INPUT, anywhere.nothing_came_in_action),
        Cell(Trigger.CRANK_LIMIT, at_questions.crank_limit, only(_S.ASKING)),
        Cell(Trigger.NOT_SURE, at_questions.not_sure_while_cranking, only(_S.ASKING)),
        Cell(Trigger.TYPED, at_questions.typed_while_cranking),
        Cell(Trigger.CLOSE, at_questions.ask_to_close_while_cranking, _STANDING_BY),
        Cell(Trigger.CRANK_ANNOUNCED, at_perceptions.announced_after_all),
        Cell(Trigger.CRANK_HEARD, at_perceptions.crank_heard_too),
        Cell(Trigger.CRANK_ENDS, at_perceptions.crank_ends_in_time, only(_S.ASKING, _S.CRANKING)),
        Cell(Trigger.ENGINE_RUNS, at_perceptions.engine_runs, only(_S.CRANKING, _S.READING_BACK)),
        Cell(Trigger.PROPOSED, at_perceptions.proposed, _PROPOSED),
        Cell(Trigger.STANDS, at_perceptions.stands),
        Cell(Trigger.STANDS_WRONG, at_perceptions.stands_wrong),
        Cell(Trigger.TAKE_IT, at_perceptions.nothing_to_take),
        over=UNDISTURBED,
    ),
    _S.READING_BACK: row(
        Cell(Trigger.AFFIRM, at_read_backs.affirm, RETURNS),
        Cell(Trigger.DENY, at_read_backs.deny, RELEASED | only(_S.CRANKING)),
        Cell(Trigger.CORRECTION, at_read_backs.deny, RELEASED | only(_S.CRANKING)),
        Cell(Trigger.CRANK_LIMIT, at_perceptions.limit_at_read_back),
        Cell(Trigger.RESULT, at_read_backs.result),
        Cell(Trigger.WRONG_PLACE, at_read_backs.wrong_place),
        Cell(Trigger.NO_ANSWER, at_read_backs.no_answer),
        Cell(Trigger.IMPLAUSIBLE, at_read_backs.implausible),
        Cell(Trigger.WHY, anywhere.why),
        Cell(Trigger.TYPED, at_read_backs.typed, only(_S.ASKING, _S.CRANKING, _S.READING_BACK)),
        over=WAITING,
    ),
    _S.SKIPPING: row(
        Cell(Trigger.REASON, at_choices.reason, RETURNS),
        Cell(Trigger.DENY, at_choices.not_skipped, STEP_STARTS),
        Cell(Trigger.CORRECTION, at_choices.not_skipped, STEP_STARTS),
        over=WAITING,
    ),
    _S.NOTING: row(
        Cell(Trigger.NOTE_ENDED, at_notes.note_ended, RETURNS | _STANDING_BY),
        Cell(Trigger.GEAR_LOST, at_notes.gear_lost, RETURNS | only(_S.NOTING, _S.STANDING_BY)),
        Cell(Trigger.SPOKEN, at_notes.spoken),
        Cell(Trigger.END_NOTE, at_notes.end_note),
        Cell(Trigger.CLOSE, anywhere.ask_to_close, _STANDING_BY),
        over=UNDISTURBED,
    ),
    _S.CHOOSING: row(
        Cell(Trigger.CHOSEN, at_choices.chosen, STEP_STARTS),
        Cell(Trigger.TYPED, at_choices.typed),
        Cell(Trigger.DENY, at_choices.not_chosen, RETURNS | _STANDING_BY),
        Cell(Trigger.CORRECTION, at_choices.not_chosen, RETURNS | _STANDING_BY),
        Cell(Trigger.CHOICES, at_choices.choices),
        over=WAITING,
    ),
    _S.STANDING_BY: row(
        Cell(Trigger.QUIET_AGAIN, anywhere.quiet_again_untold),
        Cell(Trigger.GO_AHEAD, at_pauses.go_ahead, RETURNS),
        Cell(Trigger.OTHER_TEST, at_choices.other_test, only(_S.CHOOSING)),
        Cell(Trigger.OTHER_LAMP, at_facts.other_lamp, RETURNS),
        Cell(Trigger.NOTE, at_notes.note, only(_S.NOTING, _S.STANDING_BY)),
        Cell(Trigger.WHY, anywhere.why),
        Cell(Trigger.NO_MATCH, anywhere.talk_beside),
        Cell(Trigger.NO_INPUT, anywhere.nothing_came_at_rest),
        Cell(Trigger.CLOSE, at_pauses.close, only(_S.FINISHED)),
        over=WAITING,
    ),
    _S.CONCLUDING: row(
        Cell(Trigger.GO_AHEAD, at_pauses.go_on, RETURNS),
        Cell(Trigger.OTHER_TEST, at_choices.other_test, only(_S.CHOOSING)),
        Cell(Trigger.CORRECTION, at_pauses.correction, STEP_STARTS),
        Cell(Trigger.WHY, anywhere.why),
        Cell(Trigger.NOTE, at_notes.note, only(_S.NOTING, _S.CONCLUDING)),
        Cell(Trigger.CLOSE, at_pauses.close, only(_S.FINISHED)),
        over=WAITING,
    ),
    # A session that was left open continues after all; a sealed one is refused earlier.
    _S.FINISHED: row(Cell(Trigger.RESUME, anywhere.resume, RETURNS)),
}
"""The cells of each state, by trigger."""

TRANSITIONS: dict[State, dict[Meaning[Any], frozenset[State]]] = {
    state: {trigger: cell.to or only(state) for trigger, cell in cells.items()}
    for state, cells in ROWS.items()
}
"""The triggers of each state, with the states that may follow."""


def diagram() -> str:
    """The table as a Mermaid state diagram, for README.md beside this module.

    Entering a step can end in any of seven states; they are drawn as one choice, ``step``.
    Triggers that every open state knows (stop, stand by, close from outside, resume) are drawn once, from
    ``any``; those that change no state (noise, gear, a late note) are left out.
    """
    lines = ["stateDiagram-v2", "    state step <<choice>>"]
    lines += [f"    step --> {state.name}" for state in sorted(STEP_STARTS)]
    lines += [
        "    any --> STANDING_BY: stop, stand by",
        "    any --> step: resume",
        "    any --> CONCLUDING: resume",
        "    any --> FINISHED: end",
    ]
    for state, cells in TRANSITIONS.items():
        arrows: dict[str, list[str]] = {}
        for trigger, targets in cells.items():
            if trigger in EVERYWHERE and targets <= (EVERYWHERE[trigger].to or only(state)):
                continue
            names = {target.name for target in targets}
            if targets >= STEP_STARTS:
                names = {target.name for target in targets - STEP_STARTS} | {"step"}
            for name in sorted(names):
                arrows.setdefault(name, []).append(trigger.value)
        lines += [f"    {state.name} --> {name}: {', '.join(triggers)}" for name, triggers in arrows.items()]
    return "\n".join(lines)

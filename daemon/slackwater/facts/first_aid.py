"""What to do first when something has gone wrong in the water.

Floor 2. One subject: first aid. Laws here: stop first, then look; nothing is poured in
to answer an overdose; the tool advises, a person decides.
Source: common practice, no source.
"""

from collections.abc import Mapping

from slackwater.facts.reasons import Code

FIRST_AID: Mapping[str, tuple[str, ...]] = {
    "overdose": (
        (
            "Stop dosing: `slackwater hold`. Close the outlet or lift the hose out, "
            "with dry hands; do not touch wet mains plugs."
        ),
        "Pour nothing in to answer it: no acid, no second stock.",
        (
            "Move air and water: air stone, open window, skimmer on. The pH comes "
            "down as carbon dioxide returns."
        ),
        (
            "Test alkalinity, pH, calcium and salinity now and again in an hour; "
            "write them down with `slackwater record`."
        ),
        (
            "Above 12 dKH, a pH above 8.7, or animals that close up: change 10 to "
            "20 % with new water of the same salinity and temperature, and repeat "
            "after tests rather than changing much at once."
        ),
        (
            "What is only too high by a little comes down by itself, as fast as the "
            "tank takes it up. Do not hurry it."
        ),
        (
            "Find out what flowed (`slackwater ledger`, bottle, hose, siphon) and "
            "write it down with `slackwater added` before you release the hold."
        ),
    ),
    "white-cloud": (
        (
            "Stop dosing: `slackwater hold`. What clouds the water is most likely "
            "calcium carbonate that falls out; more calcium or alkalinity feeds it."
        ),
        (
            "Keep water and air moving; fine filter floss takes the snow out. Stop "
            "return-pump intakes from sucking it in thickly; clean pumps and heater "
            "later."
        ),
        (
            "Test pH, alkalinity, calcium and magnesium. A pH above 8.6 is the "
            "likely cause; air brings it down."
        ),
        (
            "Do not dose alkalinity or calcium until the water is clear and two "
            "tests an hour apart agree. Expect both to be lower than before."
        ),
        (
            "Find the cause: two outlets close together, a dose into still water, "
            "hydroxide too fast, magnesium low, a siphon."
        ),
        (
            "If it was food, bacteria or sand instead, the tests are as they were: "
            "then look at oxygen first."
        ),
    ),
    "power-cut": (
        (
            "Oxygen first: a battery air pump, or lift and pour water by hand every "
            "ten minutes. Do not feed."
        ),
        ("Keep the warmth: wrap the tank; cool it with bottles of ice if it is hot."),
        (
            "Dose nothing by hand to make up. Slackwater makes nothing up either, "
            "and holds until clock and pump node are proven again."
        ),
        (
            "When power is back: look for siphons and overflows, temperature, "
            "salinity, pumps that run dry. Do not touch wet plugs; wet mains "
            "equipment is work for a licensed electrician."
        ),
        (
            "Test alkalinity before you release anything; after two days off, test "
            "before each step up."
        ),
    ),
}
# Which words help with which reason of a hold.
TOPICS: Mapping[Code, str] = {
    Code.ALKALINITY_CEILING: "overdose",
    Code.ALKALINITY_CLIMB: "overdose",
    Code.ALKALINITY_SWING_UP: "overdose",
    Code.ALKALINITY_DOSE_FAULT: "overdose",
    Code.ALKALINITY_SWING_DOWN: "white-cloud",
    Code.OVER_DELIVERED: "overdose",
    Code.BOTTLE_LOST: "overdose",
    Code.NODE_IMPOSSIBLE: "overdose",
    Code.START_STORM: "power-cut",
    Code.CLOCK_UNPROVEN: "power-cut",
}

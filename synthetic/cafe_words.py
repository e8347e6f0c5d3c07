"""How the customers of the invented workshop speak of a fault, and what its bench writes."""

from __future__ import annotations

from synthetic.scenario import Telling

# By root cause: one tuple a symptom, the ways of saying it. Some ways are said of several causes.
COMPLAINTS: dict[str, tuple[tuple[str, ...], ...]] = {
    "contact": (
        ("cuts out while heating", "stops halfway through heating", "keeps cutting out"),
        ("heats on one side only", "one half stays cold", "only the left side gets hot"),
        ("clicks but stays cold", "clicking noise, no heat", "clicks and then nothing"),
        ("hot smell near the back", "smells burnt at the back", "burning smell"),
    ),
    "switch": (
        ("switch sticks", "the switch is stiff", "button hangs"),
        ("switch does nothing", "can't switch it on", "button has no effect"),
        ("goes off by itself", "turns itself off", "keeps cutting out"),
        ("lamp flickers when switched on", "light on the switch flickers", "lamp comes and goes"),
    ),
    "element": (
        ("no heat at all", "does not heat any more", "stays cold"),
        ("trips the breaker", "fuse goes when it heats", "blows the fuse after a minute"),
        ("takes for ever to heat", "very slow to heat up", "needs an hour to get hot"),
    ),
    "cord": (
        ("dead, no lamp", "no sign of life", "stays cold"),
        ("works only if the cord is held", "cuts out when the cable moves", "loose cable"),
        ("plug gets warm", "burnt plug", "burning smell"),
    ),
    "seal": (
        ("drips underneath", "leaks from below", "puddle under the machine"),
        ("water on the counter", "leaks when hot", "loses water overnight"),
        ("steam from the side", "hisses at the side", "steam where there should be none"),
    ),
    "thermostat": (
        ("far too hot", "boils over", "burns everything"),
        ("never hot enough", "only lukewarm", "very slow to heat up"),
        (
            "temperature goes up and down",
            "sometimes too hot, sometimes cold",
            "heat comes and goes",
        ),
    ),
}

FINDINGS: dict[str, tuple[str, ...]] = {
    "contact": ("contact pitted and black", "one contact burnt through", "contacts welded"),
    "switch": ("switch gummed up", "grease in the switch", "switch worn, arcs"),
    "element": ("element open circuit", "element down to earth", "element scaled over"),
    "cord": ("cord broken at the grommet", "core broken near the plug", "plug pin burnt"),
    "seal": ("seal hard and cracked", "gasket squeezed out", "seal seat scaled"),
    "thermostat": ("thermostat out by twenty degrees", "bulb of the thermostat slipped"),
}

TELLING = Telling(
    complaints=COMPLAINTS,
    findings=FINDINGS,
    openings=("", "", "", "customer says ", "since Monday ", "again: ", "in the mornings "),
    endings=("", "", "", ", needs it back soon", ", worse after cleaning", " now and then"),
    empty_phrases=("not working", "broken", "please check", "faulty", "see label"),
    remarks=("collected by the owner", "cleaned outside", "knob missing", "rang twice"),
    empty_phrase_share=0.08,
    untold_share=0.04,
    mistyped_share=0.15,
    noted_share=0.55,
    finding_share=0.7,
)

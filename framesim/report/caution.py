"""What every report must say about its own reach."""

__all__ = ["CAUTION", "CAUTIONS", "NOT_MODELLED"]

CAUTION = (
    "For teaching and for comparing codes. Not an EMC test (ISO 11452, ISO 7637, CISPR 25) and not evidence for a "
    "safety case (ISO 26262, IEC 61508): those need the standards, measurement and competent assessment. Ignition "
    "circuits carry tens of kilovolts: never probe them."
)

#: the same at length, as README.md has it
CAUTIONS = (
    "Ignition circuits carry tens of kilovolts, with enough energy to injure, directly or by the start it gives. Never "
    "probe them, never build these waveforms into hardware, and keep away from them with a pacemaker.",
    "The interference model is for teaching and for comparing codes. Many of its numbers are estimates (the program "
    "marks them); no vehicle was measured. It is not an EMC test and says nothing about conformity with ISO 7637, ISO "
    "11452, IEC 61000-4-4, CISPR 12, CISPR 25 or UN Regulation 10; local rules and competent EMC testing decide.",
    "A simulated undetected-error rate is not evidence for ISO 26262 or IEC 61508. Such claims need a safety case and "
    "assessment by competent and, where required, independent people. framesim certifies nothing.",
    "Do not inject simulated errors on a vehicle that can move, or on public roads.",
)

#: cause of the flips -> what the model of it leaves out
NOT_MODELLED = {
    "engine": (
        "Rectification of radio frequency in input stages and clamps, which turns fast rings into slow offsets; in "
        "real vehicles it can be the larger part.",
        "False resynchronisation and stretched bits, finite edges of the sent signal, reflections, and common-mode "
        "overrun of the receiver.",
        "Several receivers that differ and answer each other's error flags; here one receiver is disturbed.",
        "Supply dips, 24 V systems, diesel and electric drives, and load on the engine.",
    ),
    "channel": (
        "Bit slips and false resynchronisation: a receiver that loses or doubles a bit.",
        "Several receivers whose error flags help each other, and overload frames.",
        "What causes the flips: the channel is given, not derived from an engine.",
    ),
}

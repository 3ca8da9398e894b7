"""What every report must say about its own reach."""

__all__ = ["CAUTION", "CAUTIONS", "NOT_MODELLED"]

CAUTION = (
    "For teaching and for comparing codes. Not an EMC test (ISO 11452, ISO 7637, CISPR 25) and not evidence for a "
    "safety case (ISO 26262, IEC 61508): those need the standards, measurement and competent assessment. Ignition "
    "circuits carry tens of kilovolts: never probe them."
)

#: What stands in the README, in ``framesim coverage --help`` and under every report of sparks.
CAUTIONS = (
    "High voltage: the secondary side of an ignition carries 15 to 40 kV with tens of millijoules, the primary 300 to "
    "400 V. Never probe it and never build its waveform into hardware: danger of shock, of falls and burns that "
    "follow, of fire with fuel vapour. With a pacemaker, stay clear of a running ignition.",
    "The numbers are illustrative; parameters marked as estimates are measurements of no vehicle. Not an EMC test, no "
    "statement of conformity with ISO 7637, ISO 11452, IEC 61000-4-4, CISPR 12, CISPR 25 or UN Regulation 10: buy the "
    "standards for levels.",
    "A simulated residual error rate is no evidence for ISO 26262 or IEC 61508; such claims take a safety case, and "
    "competent people, independent ones where required.",
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
    "recording": (
        "The receiver's input resistance loading what was recorded, and a voltage common to both wires that drives the "
        "receiver out of its range.",
        "False resynchronisation and stretched bits, and finite edges of the sent signal: levels change at once.",
        "Several receivers that differ and answer each other's error flags; here one receiver is disturbed.",
        "Whether the recording stands for what a vehicle meets.",
    ),
    "channel": (
        "Bit slips and false resynchronisation: a receiver that loses or doubles a bit.",
        "Several receivers whose error flags help each other, and overload frames.",
        "What causes the flips: the channel is given, not derived from an engine.",
    ),
}

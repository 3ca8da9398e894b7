"""The built-in claims: sayings of the trade, each with the frame or the code that decides it."""

__all__ = ["EXAMPLE"]

EXAMPLE = """\
# The built-in claims: well-known sayings about error checks. Write your own in the same form (docs/claims.md).
title = "Well-known claims about the error checks of vehicle networks"
note = "sayings of the trade; frames and payloads are invented or were found by search"
seed = 1
confidence = 0.95
budget_s = 3.0      # processor seconds a claim may take, by fixed costs

[[claim]]
id = "can-five-flips"
text = "Classic CAN detects up to five random errors in a frame"
frame = { network = "can", identifier = 0x482, payload = "F82231D28AEBC714" }
asserts = { kind = "detects-flips", up_to = 5 }

[[claim]]
id = "can-crc-distance"
text = "CRC-15 has Hamming distance 6 over the 83 bits of a frame with eight bytes"
code = { name = "CRC-15/CAN", data_bits = 83 }
asserts = { kind = "distance-at-least", distance = 6 }

[[claim]]
id = "can-single-flip"
text = "Classic CAN detects every single flip"
frame = { network = "can", identifier = 0x482, payload = "3B18D3BF5B60C104" }
asserts = { kind = "detects-flips", up_to = 1 }

[[claim]]
id = "can-single-flip-in-time"
text = "In that frame, what passes is not accepted at the sender's own end: other nodes can object"
frame = { network = "can", identifier = 0x482, payload = "3B18D3BF5B60C104" }
seen = { acceptance = "same_end" }
asserts = { kind = "detects-flips", up_to = 1 }

[[claim]]
id = "can-single-flip-rare"
text = "Frames of random payload in which some single flip passes are rarer than one in ten thousand"
frame = { network = "can", identifier = 0x482, payload = { random = 8 } }
asserts = { kind = "detects-flips", up_to = 1, share_of_frames = 0.9999 }

[[claim]]
id = "can-bursts"
text = "Classic CAN detects every burst below 15 bits"
frame = { network = "can", identifier = 0x482, payload = "F82231D28AEBC714" }
asserts = { kind = "detects-bursts", up_to = 14 }

[[claim]]
id = "can-crc-bursts"
text = "CRC-15 alone detects every burst of up to 15 bits"
code = { name = "CRC-15/CAN", data_bits = 83 }
asserts = { kind = "detects-bursts", up_to = 15 }

[[claim]]
id = "two-to-minus-r"
text = "A CRC of r bits lets at most 2^-r of all wrong words pass"
code = { polynomial = 0x1021, width = 16, data_bits = 8 }
asserts = { kind = "bounded-by-width" }

[[claim]]
id = "flexray-header-crc"
text = "FlexRay's header CRC has Hamming distance 6"
code = { name = "CRC-11/FLEXRAY", data_bits = 20 }
asserts = { kind = "distance-at-least", distance = 6 }

[[claim]]
id = "flexray-five-flips"
text = "A FlexRay frame of 16 bytes detects up to five flips, whatever it carries"
frame = { network = "flexray", frame_id = 12, payload = { worst = 16 } }
asserts = { kind = "detects-flips", up_to = 5 }

[[claim]]
id = "lin-single-flip"
text = "In this frame, LIN detects every single flip"
frame = { network = "lin", identifier = 0x11, payload = "1234" }
asserts = { kind = "detects-flips", up_to = 1 }

[[claim]]
id = "lin-double-flip"
text = "LIN's checksum detects all double errors"
frame = { network = "lin", identifier = 0x11, payload = "1234" }
asserts = { kind = "detects-flips", up_to = 2 }

[[claim]]
id = "fd-2012-single-flip"
text = "CAN FD of 2012, without stuff count, detects every single flip"
frame = { network = "can-fd", identifier = 0x067, payload = "1234", iso = false }
asserts = { kind = "detects-flips", up_to = 1 }

[[claim]]
id = "fd-iso-same-frame"
text = "CAN FD of ISO 11898-1, with stuff count, detects every double flip in that frame"
frame = { network = "can-fd", identifier = 0x067, payload = "1234" }
asserts = { kind = "detects-flips", up_to = 2 }

[[claim]]
id = "fd-iso-double-flip"
text = "With its stuff count, CAN FD detects every double flip"
frame = { network = "can-fd", identifier = 0x0C8, payload = "E945" }
asserts = { kind = "detects-flips", up_to = 2 }

[[claim]]
id = "fd-five-flips"
text = "CAN FD with 24 bytes detects up to five flips"
frame = { network = "can-fd", identifier = 0x123, payload = "5A5A5A5A5A5A5A5A5A5A5A5A5A5A5A5A5A5A5A5A5A5A5A5A" }
asserts = { kind = "detects-flips", up_to = 5 }

[[claim]]
id = "can-per-hour"
text = "At 500 kbit/s, half loaded, one flip in a million bits, this frame: below one undetected in a million hours"
frame = { network = "can", identifier = 0x1A4, payload = "9F3C071122334455" }
disturbance = { kind = "scatter", bit_error_ratio = 1e-6 }
asserts = { kind = "per-hour-at-most", rate = 1e-6, bit_rate = 500_000, load = 0.5 }

[[claim]]
id = "can-crc-speaks-first"
text = "In this frame, it is mostly the CRC that speaks first"
frame = { network = "can", identifier = 0x1A4, payload = "9F3C071122334455" }
disturbance = { kind = "scatter", bit_error_ratio = 1e-6 }
asserts = { kind = "first-to-speak", check = "crc", at_least = 0.5 }

[[claim]]
id = "sweeper-per-hour"
text = "On the street sweeper, beside a cracked ignition lead: below one undetected frame an hour (invented data)"
frame = { network = "can", identifier = 0x1A4, payload = { random = 8 } }
disturbance = { kind = "ignition", speed_rpm = 2950, cylinders = 4, leads = "long", severity = "fault" }
asserts = { kind = "per-hour-at-most", rate = 1, frames_per_second = 100 }
"""

"""Makes ``flexray_b.json``: FlexRay, channel B, static segment."""

from flexray_cases import Cases

if __name__ == "__main__":
    Cases("flexray-b", channel="B", dynamic=False).write()

"""Makes ``flexray.json``: FlexRay, channel A, static segment."""

from flexray_cases import Cases

if __name__ == "__main__":
    Cases("flexray", channel="A", dynamic=False).write()

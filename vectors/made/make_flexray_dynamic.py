"""Makes ``flexray_dynamic.json``: FlexRay, channel A, dynamic segment."""

from flexray_cases import Cases

if __name__ == "__main__":
    Cases("flexray-dynamic", channel="A", dynamic=True).write()

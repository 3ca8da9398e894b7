"""The same value as a voltage beside the same sparks: lines, readings, and what a unit may notice."""

from framesim.analog.line import AnalogLine
from framesim.analog.samples import AnalogSamples

__all__ = ["AnalogLine", "AnalogSamples"]

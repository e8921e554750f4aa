"""Shifty wind: how the direction wanders about the forecast, and when to turn on a shift."""

from goosewing.shifts.model import Shifts as Shifts
from goosewing.shifts.rule import ShiftRule as ShiftRule
from goosewing.shifts.rule import shift_rule as shift_rule

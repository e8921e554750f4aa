"""A velocity prediction from a tape measure: forces and moments in balance, published formulas.

Pure: numbers in, numbers out. Unlike the rest of the engine this room works in SI units
and radians, as its sources do; `goosewing.boat.estimate.tables` turns the answers into
knots and degrees. The water is flat, the bottom clean, the wind steady.

==============  ==================================================================
`dimensions`    what was measured, and what is refused
`yacht`         the yacht made whole: what is guessed from her type
`hull`          residuary resistance, wetted area, stability of the canoe body
`friction`      the friction line, form factors
`appendages`    keel and rudder: their drag, the side force and the leeway for it
`sails`         lift and drag of each sail over the apparent wind angle; windage
`balance`       speed, heel and depowering in equilibrium, all cells at once
`band`          how far off it may be
`tables`        the boat with her tables
==============  ==================================================================
"""

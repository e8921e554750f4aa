"""What a boat's logs tell: her sensors' errors, her leeway, her polar, what a sail cost.

`read` turns files into a `samples.Log`: readings of every sensor on one clock. What works on
it is pure: arrays in, arrays out.
"""

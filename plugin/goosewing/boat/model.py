"""The boat as the engine knows her: sail sets with their tables, leeway, costs.

Pure: tables come in as arrays, the answers go out as arrays; `goosewing.boat.read`
reads the files.
"""

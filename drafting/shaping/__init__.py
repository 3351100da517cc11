"""The scissors: operations on pieces, as on paper.

Pure functions from pieces to pieces (`cutting`, `pivoting`, `spreading`, `adding`, `walking`) on the
ground of `parts`; `mending` trues the edges that they broke; `places` finds places and lines by the
words of the trade; `changes` reads the operations that a garment lists and replays them; `garment`
puts the result back into the draft.
"""

"""Export: pieces leave the program, as SVG (`svg`), DXF (`dxf`) and tiled PDF (`pdf`).

At the end of the drafting flow. `marks` turns a piece into strokes by kind; each writer gives
the strokes its own form. Writers return text or bytes; commands write them to files.
"""

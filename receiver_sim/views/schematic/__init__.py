"""A schematic of a set: its parts and how they join (`parts`, `whole`), where each stands (`layout`, with a
description of each form of a block in `forms`), the wires (`wires`), the words (`words`), the drawing
(`drawing`) and its files (`render`).

Symbols after IEEE Std 315 (ANSI Y32.2), reference designations after IEEE Std 200; both from memory.
"""

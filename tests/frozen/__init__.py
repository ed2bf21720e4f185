"""Figures of shipped builds, kept as they were, so that no change alters one unnoticed.

These files don't say that a figure is TRUE. Other tests do that, against closed forms, print and other paths,
and a fault that they let pass is a gap in them. They say that a change of the program changes nothing that
its author doesn't name: whoever changes physics, a word or a plot on purpose writes the files anew

    python -m tests.frozen --show            what differs, by place and size; writes nothing
    python -m tests.frozen                   writes what differs anew
    python -m tests.frozen demo-loop ...     those cases alone, with either

and names the effect in the commit's message. What differs without a reason is a fault.

A case is one call of the program: its exit code, what it prints on both streams, its JSON document, and the
points and words of its plots. Numbers are held within a tolerance (`comparing.REL`), words exactly. Long rows
of numbers are thinned. What no other machine would repeat is left out by name (`recording.LEFT_OUT`), each
with its reason.
"""

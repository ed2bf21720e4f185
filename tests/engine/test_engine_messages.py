"""What each sort of ngspice line means. Lines were copied from runs of ngspice 39 unless marked."""

import pytest

from receiver_sim.engine.messages import Kind, classify, read, summary

NOTES = [
    "Warning: can't find the initialization file spinit.",  # ngspice 44 with the library package alone
    "Note: No compatibility mode selected!",
    "Note: Starting dynamic gmin stepping",
    "Trying gmin =   1.0000E-03 Note: One successful gmin step",
    "Trying gmin =   9.9996E-03 Warning: Further gmin increment",
    "Supplies reduced to   0.0000% ",
    "Note: Dynamic gmin stepping completed",
    "Warning: Dynamic gmin stepping failed",  # the next method follows; if all fail a line of its own says so
    "Trying gmin =   9.9996E-03 Warning: Last gmin step failed",
    "Warning: source stepping failed",
    "Note: Transient op finished successfully",
    "Note: v1: dc value used for op instead of transient time=0 value.",
    "Note: can't find init file.",
    "Doing analysis at TEMP = 27.000000 and TNOM = 27.000000",
    "No. of Data Rows : 108",
    " Reference value :  0.00000e+00",
    "Circuit: error in the shack",  # a title may say what it likes
    "error                                     0.281619",  # and so may a node
    "fatal                                            0                    2 *",
    "Using SPARSE 1.3 as Direct Linear Solver",  # from memory of ngspice 42 and newer, not seen here
    "Using KLU as Direct Linear Solver",  # likewise
    "",
]
WARNINGS = [
    "Warning: vsource vx: something harmless",
]
FAILURES = [
    "Error: no such device or model name rzz",
    "Error: unknown subckt: x1 in out nosuch",
    "Error: there aren't any circuits loaded.",
    "Error: circuit not parsed.",
    "Error on line 3 or its substitute:",
    "unknown parameter (foo) ",
    "warning, can't find model 'nomod' from line",
    "could not find a valid modelname",
    "Fatal error: k1: coupling to non-existant inductor l1.",
    'Fatal error: DC Transfer Function: Voltage source, current source, or resistor named "vq" '
    "is not in the circuit",
    "doAnalyses: no such device",
    "dc simulation(s) aborted",
    "doAnalyses: OP:  Timestep too small; cause unrecorded.",
    "Error: Transient op failed, timestep too small",
    "DC solution failed -",
    "Warning: singular matrix:  check node v1#branch",
    "Trying gmin =   1.0000E-03 Warning: singular matrix:  check node v1#branch",
    "Trying gmin =   1.0000E-03 Error: -6.93147e-30 out of range for sqrt",
    "Warning: r1: resistance to low, set to 1 mOhm",
    "Warning: Model issue on line 5 :",
    "unrecognized parameter (zzz) - ignored",
    "Warning : IC on non-existent node - zz, ignored",
    'Too few parameters for subcircuit type "s" (instance: xx1)',
    "device already exists, existing one being used",
    "Undefined parameter [xx]",
]


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        *((text, Kind.NOTE) for text in NOTES),
        *((text, Kind.WARNING) for text in WARNINGS),
        *((text, Kind.FAILURE) for text in FAILURES),
    ],
)
def test_class_of_line(text, kind):
    assert classify(text) is kind


def test_stream_is_split_off_and_does_not_decide():
    messages = read(["stderr Note: Starting dynamic gmin stepping", "stdout Error: circuit not parsed."])
    assert [(m.stream, m.kind) for m in messages] == [("stderr", Kind.NOTE), ("stdout", Kind.FAILURE)]


def test_summary_carries_the_explaining_lines_once():
    lines = [
        "stdout Circuit: t2",
        "stderr Error on line 4 or its substitute:",
        "stderr r1 a 0 2k",
        "stderr device already exists, existing one being used",
        "stderr Trying gmin =   1.0000E-03 Warning: singular matrix:  check node b",
        "stderr Warning: singular matrix:  check node b",
    ]
    assert summary(read(lines)) == (
        "Error on line 4 or its substitute:; r1 a 0 2k; device already exists, existing one being used; "
        "Warning: singular matrix:  check node b"
    )
    assert summary(read(["stderr Note: fine"])) == ""

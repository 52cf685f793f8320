"""The ten words that a reader meets in report and page, each in one plain sentence."""

GLOSSARY = (
    (
        "First fix",
        "The first moment at which a receiver knows where it is; before it, nothing of the ride is recorded.",
    ),
    ("Time to first fix", "Seconds from the start of the recording to the first fix."),
    ("Road missed", "The length of road ridden before the first fix."),
    ("Centreline", "The line that all rides of one way have in common, made from the rides themselves."),
    ("Cross-track error", "How far a recorded place lies to the left or right of the centreline."),
    ("Bias", "The part of the error that is the same on every ride of a device: its track lies always to one side."),
    ("Repeatability", "How far the rides of one device scatter about their own mean: how well it says the same again."),
    ("Deviation", "A stretch where a recording leaves the centreline: another road, or an error of the receiver."),
    (
        "Hausdorff and Fréchet distance",
        "How far two lines are apart at their worst place; Fréchet keeps the order of travel.",
    ),
    ("Interval", "Between which bounds a figure lies with the rides there are; few rides make it wide."),
)

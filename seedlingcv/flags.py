"""One table of everything the program may say about a photo, a flat or a cell.

A code stands in the JSON; its text and advice are what the grower reads. `{…}` fields are
filled in by whoever raises the flag.
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Meaning:
    text: str
    advice: str


PHOTO = {
    "blurred": Meaning("the photo is blurred", "Hold still, tap to focus on the flat, and take it again."),
    "overexposed": Meaning("too much of the photo is burnt out",
                           "Shade the flat from direct sun or tap on the flat to darken, and take it again."),
    "underexposed": Meaning("the photo is too dark", "Bring more light or hold still for longer, and take it again."),
    "card_missing": Meaning("corner card {cards} can't be read",
                            "Clear it, lay it flat on the corner, and take the photo again."),
    "no_cards": Meaning("no corner cards and no backdrop tags can be read in the picture",
                        "Lay the four corner cards on the flat (or stand the backdrop behind row A) "
                        "and take the photo again."),
    "tilted": Meaning("the camera was tilted {tilt_deg:.0f} degrees",
                      "Hold the phone level above the flat, or upright in front of row A."),
    "cropped": Meaning("the flat runs out of the picture", "Step back until all the cards are in the picture."),
    "low_resolution": Meaning("only {px_per_mm:.1f} pixels per mm: too few to measure plants",
                              "Go closer or use the camera's full resolution."),
    "two_flats": Meaning("tags of more than one flat are in the picture: {flats}",
                         "Photograph one flat at a time, its own tag and the corner cards on it."),
    "no_flat_tag": Meaning("the flat's own tag can't be read, so the photo can't be given to a flat",
                           "Hang the flat's tag on the row-A rim, facing up and outwards."),
    "grid_unsure": Meaning("the cell grid can't be found in the picture",
                           "Check the layout in the register; clear leaves and hoses from the rim."),
    "layout_wrong": Meaning("the register says {said} cells, the picture shows {seen}",
                            "Correct the layout in the register."),
    "layout_unknown": Meaning("the flat's layout is unknown, so the photo can't be measured",
                              "Write it into the register, such as 6x12, or take an overhead photo too."),
    "side_view_wrong": Meaning("the side photo was not taken from in front of row A",
                               "Face row A, backdrop behind it, looking 3 to 12 degrees down, and take it again."),
    "nothing_green": Meaning("nothing green was found on the flat",
                             "If plants stand there, look at the flat: red and purple leaves are not seen."),
    "spare": Meaning("a better or newer photo of this flat was used", "Nothing to do."),
    "days_apart": Meaning("the side photo is dated {days} days from the overhead photo",
                          "Check the phone's clock. If the dates are right, take both on one day: "
                          "legginess mixes the two."),
    "no_baseline": Meaning("the two overhead photos were taken from nearly the same place, so heights don't show",
                           "Move the phone 100-200 mm to one side for the second photo."),
    "baseline_too_large": Meaning("the two overhead photos were taken too far apart to match",
                                  "Move the phone 100-200 mm to one side for the second photo."),
    "flat_moved": Meaning("the flat or the cards moved between the two overhead photos",
                          "Leave flat and cards where they are and take both photos again."),
    "height_from_side": Meaning("how high the leaves stand was taken from the side photo",
                                "Take a second overhead photo 100-200 mm to one side of the first."),
    "height_from_crop": Meaning("how high the leaves stand was taken from the crop's usual height",
                                "Take a second overhead photo 100-200 mm to one side of the first."),
    "height_unknown": Meaning("how high the leaves stand is unknown, so high leaves look too large",
                              "Take a second overhead photo 100-200 mm to one side of the first."),
    "roots_unsure": Meaning("the roots can't be judged: {why}", "Look at a few plugs yourself."),
    "roots_no_flat": Meaning("no single flat's tag lies on the root board, so nobody knows whose roots these are",
                             "Lay the flat's own tag between the board's upper two tags and take it again."),
    "roots_alone": Meaning("the roots of flat {flat} are seen, but no photo of the flat itself could be used",
                           "Photograph the flat as well."),
    "roots_not_given": Meaning("roots ({found}) that can't be given to the flat: {why}",
                               "Write the word into the register, column roots, beside the crop."),
    "unreadable": Meaning("the file can't be read as a photo", "Copy it again from the phone."),
}

CELL = {
    "not_in_front_row": "only the front row shows its stems in the side photo",
    "no_side_photo": "no usable side photo of this flat",
    "no_overhead_photo": "no usable overhead photo of this flat",
    "stem_hidden": "the stem can't be followed in the side photo",
    "several_plants": "more than one plant in the cell",
    "empty": "no plant in the cell",
    "overlap_unsure": "leaves of neighbours overlap: whose they are is unsure",
    "leaves_unsure": "leaves can't be told apart well enough to count",
    "height_unsure": "the two overhead photos don't agree on its height",
    "diameter_unsure": "the stem's edges can't be told from what is behind it",
    "no_node": "the seed-leaf node can't be seen",
    "corrected": "a figure was corrected by hand, or is not to be used",
}


@dataclass(frozen=True)
class Problem:
    """A photo's problem. `fatal` means the photo is not measured."""

    code: str
    fatal: bool = True
    facts: dict[str, object] = field(default_factory=dict)

    @property
    def text(self) -> str:
        return PHOTO[self.code].text.format(**self.facts)

    @property
    def advice(self) -> str:
        return PHOTO[self.code].advice.format(**self.facts)

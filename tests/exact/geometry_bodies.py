"""Bodies and outsides for the geometry tests, after the typical dimensions of the trade."""

from dataclasses import replace

from graduale.records.instrument import ArchShape, Body, Soundholes

VIOLIN = Body(
    length_mm=355.0,
    upper_width_mm=168.0,
    waist_width_mm=112.0,
    lower_width_mm=206.0,
    upper_at_mm=288.0,
    waist_at_mm=196.0,
    lower_at_mm=74.0,
    upper_corner_at_mm=224.0,
    lower_corner_at_mm=142.0,
    upper_corner_width_mm=155.0,
    lower_corner_width_mm=185.0,
    rib_height_upper_mm=30.0,
    rib_height_lower_mm=30.0,
    rib_thickness_mm=1.1,
    overhang_mm=2.5,
    stop_mm=195.0,
)
NARROW = Body(
    length_mm=320.0,
    upper_width_mm=84.0,
    waist_width_mm=60.0,
    lower_width_mm=108.0,
    upper_at_mm=259.0,
    waist_at_mm=176.0,
    lower_at_mm=66.0,
    upper_corner_at_mm=206.0,
    lower_corner_at_mm=122.0,
    upper_corner_width_mm=78.0,
    lower_corner_width_mm=98.0,
    rib_height_upper_mm=19.0,
    rib_height_lower_mm=19.0,
    rib_thickness_mm=1.0,
    overhang_mm=2.0,
    stop_mm=176.0,
)
THIN_WAIST = replace(NARROW, waist_width_mm=25.0)
SMOOTH = replace(
    NARROW, waist_width_mm=70.0, upper_corner_width_mm=70.0, lower_corner_width_mm=80.0
)
VIOLIN_TOP = ArchShape(crown_mm=15.5, edge_mm=4.0, channel_mm=3.2, channel_at_mm=5.0)
NARROW_TOP = ArchShape(crown_mm=12.0, edge_mm=3.5, channel_mm=2.8, channel_at_mm=4.0)
VIOLIN_HOLES = Soundholes(
    present=True,
    length_mm=75.0,
    upper_eye_mm=6.5,
    lower_eye_mm=9.0,
    upper_eye_gap_mm=42.0,
    lower_eye_edge_mm=12.0,
    width_mm=6.5,
    notch_x_mm=160.0,
)
NARROW_HOLES = Soundholes(
    present=True,
    length_mm=52.0,
    upper_eye_mm=4.0,
    lower_eye_mm=5.0,
    upper_eye_gap_mm=18.0,
    lower_eye_edge_mm=7.0,
    width_mm=4.0,
    notch_x_mm=144.0,
)

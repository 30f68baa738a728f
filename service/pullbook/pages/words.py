"""The words that pages use for what the records keep as identifiers."""

STATE_WORDS = {
    "booked": "Booked",
    "checked_in": "Checked in",
    "in_cell": "In the cell",
    "ready": "Ready",
    "collected": "Collected",
    "on_hold": "On hold",
    "cancelled": "Cancelled",
}
STEP_WORDS = {
    "booked": "Book it again",
    "checked_in": "Check the car in",
    "in_cell": "Car goes into the cell",
    "ready": "Work is done, car is ready",
    "collected": "Customer has collected it",
    "on_hold": "Put on hold",
    "cancelled": "Cancel",
}
DRIVE_WORDS = {"two_wheel": "two-wheel drive", "all_wheel": "all-wheel drive"}
KIND_WORDS = {"sweep": "Sweep", "hold": "Hold", "coast_down": "Coast-down", "part_throttle": "Part throttle"}
FUEL_WORDS = {
    "petrol": "petrol",
    "e10": "petrol E10",
    "e85": "E85",
    "ethanol": "ethanol",
    "methanol": "methanol",
    "diesel": "diesel",
    "lpg": "LPG",
    "cng": "CNG",
}
ASPIRATION_WORDS = {
    "natural": "naturally aspirated",
    "mechanical": "mechanically charged",
    "turbo": "turbocharged",
}
ROLE_WORDS = {"read_only": "reading only", "front_desk": "front desk", "tuner": "tuner", "owner": "owner"}
# What a flag is called where there is no room for its sentence; its page says the sentence.
FLAG_WORDS = {
    "clipped_sensor": "sensor at its end",
    "closed_throttle": "throttle not full",
    "corrected_twice": "corrected twice?",
    "dropouts": "engine-speed dropouts",
    "engine_speed_from_ratio": "engine speed from ratio",
    "factor_outside_limits": "factor outside limits",
    "heat_soak": "suspect heat soak",
    "interrupted_sweep": "interrupted sweep",
    "lean_under_load": "lean under load",
    "limit_passed": "limit passed",
    "no_engine_speed": "no engine speed",
    "no_weather": "no weather reading",
    "rich_by_command": "rich by command",
    "roller_speed_mended": "roller speed mended",
    "short_sweep": "short sweep",
    "time_repaired": "time stamps repaired",
    "weather_against_car": "weather against the car’s sensors",
    "weather_doubt": "weather doubtful",
    "weather_stale": "weather stale",
    "wheel_slip": "wheel slip",
}
HUMIDITY_WORDS = {
    "relative_pct": ("relative humidity", "%"),
    "dew_point_c": ("dew point", "°C"),
    "wet_bulb_c": ("wet bulb", "°C"),
}

EIGHTH_WORDS = ("empty", "1/8", "1/4", "3/8", "1/2", "5/8", "3/4", "7/8", "full")  # of a tank
PAYMENT_WORDS = {"cash": "cash", "card": "card", "transfer": "transfer", "other": "another way"}
EVIDENCE_WORDS = {
    "coast_down": "Bare coast-down",
    "known_torque": "Against a known torque",
    "known_mass": "With a known mass",
    "brake_weights": "Weights on the brake",
}
OWNER_WORDS = {  # the owner's pages, by the last part of their path, as the bar's menu lists them
    "month": "Month",
    "cells": "Cells",
    "devices": "Devices",
    "staff": "Staff",
    "shop": "Shop",
    "waiver": "Waiver",
    "checklist": "Checklist",
    "keeping": "Customers’ data",
    "audit": "Audit",
}

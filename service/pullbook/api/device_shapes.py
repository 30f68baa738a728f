"""What a device sends of the weather, and the receipts it gets."""

from typing import Annotated, Literal

from pydantic import StringConstraints, model_validator

from pullbook.api.receipts import ReceiptAnswer
from pullbook.api.shaping import Answer, Asked, Instant, one_line, one_of
from pullbook.api.weather import (
    HUMIDITY_KINDS,
    AirTemperature,
    AltimeterSetting,
    DewPoint,
    RelativeHumidity,
    StationPressure,
    WetBulb,
)

Source = Annotated[str, StringConstraints(max_length=120)]


class DeviceReading(Asked):
    """One reading of the device's own cell: temperature, one of two pressures, one of three forms of humidity."""

    read_at: Instant
    air_temperature_c: AirTemperature
    station_pressure_kpa: StationPressure | None = None
    altimeter_setting_kpa: AltimeterSetting | None = None
    relative_humidity_pct: RelativeHumidity | None = None
    dew_point_c: DewPoint | None = None
    wet_bulb_c: WetBulb | None = None
    source: Source = ""

    @model_validator(mode="after")
    def _one_of_each(self) -> "DeviceReading":
        one_of(self, "station_pressure_kpa", "altimeter_setting_kpa")
        one_of(self, *HUMIDITY_KINDS)
        one_line(self.source)
        return self


class DeviceSelf(Answer):
    """Who the token stands for, and the shop's clock."""

    id: str
    name: str
    cell_id: str
    cell_name: str
    now: Instant


class ReadingReceipt(Answer):
    """A reading is kept. `sha256` and `size_bytes` are those of the body as it arrived."""

    id: str
    sha256: str
    size_bytes: int
    received_at: Instant


class FileReceipt(ReadingReceipt):
    """A file is kept and read back; it lies in the tray, or in a pull. `clock_ahead_s`: how far the device errs.
    `note`: the signed receipt, a text to be kept as it is."""

    file_name: str
    kind: Literal["sweep", "hold", "coast_down", "part_throttle"]
    taken_at: Instant
    clock_ahead_s: float | None
    pull_id: str | None
    receipt: ReceiptAnswer
    note: str

"""The parts of HL7 FHIR R4 resources that are read, by their own names; all else in a resource is passed over."""

from __future__ import annotations

from decimal import Decimal

import msgspec

MDC = "urn:iso:std:iso:11073:10101"
UCUM = "http://unitsofmeasure.org"
EUI_64 = "urn:oid:1.2.840.10004.1.1.1.0.0.1.0.0.1.2680"


class Part(msgspec.Struct, frozen=True, kw_only=True, rename="camel"):
    """A piece of a resource."""


class Coding(Part, frozen=True, kw_only=True):
    system: str = ""
    code: str = ""
    display: str = ""


class Concept(Part, frozen=True, kw_only=True):
    coding: tuple[Coding, ...] = ()
    text: str = ""

    def mdc(self) -> Coding | None:
        """The coding of IEEE 11073-10101, if there is one."""
        return next((coding for coding in self.coding if coding.system == MDC), None)


class Amount(Part, frozen=True, kw_only=True):
    """A FHIR Quantity. `unit` is for eyes; `code` in `system` is what is meant."""

    value: Decimal | None = None
    comparator: str = ""
    unit: str = ""
    system: str = ""
    code: str = ""

    @property
    def ucum(self) -> str:
        return self.code if self.system == UCUM else ""


class Span(Part, frozen=True, kw_only=True):
    low: Amount | None = None
    high: Amount | None = None


class Reference(Part, frozen=True, kw_only=True):
    reference: str = ""


class Period(Part, frozen=True, kw_only=True):
    start: str = ""


class Extension(Part, frozen=True, kw_only=True):
    url: str = ""
    value_range: Span | None = None
    value_reference: Reference | None = None
    extension: tuple[Extension, ...] = ()


class Sampled(Part, frozen=True, kw_only=True):
    """FHIR SampledData: value = origin + datum * factor; limits are of the value, not of the datum."""

    origin: Amount
    period: Decimal
    dimensions: int
    factor: Decimal = Decimal(1)
    lower_limit: Decimal | None = None
    upper_limit: Decimal | None = None
    data: str = ""


class Measure(Part, frozen=True, kw_only=True):
    """An observation, or one component of it."""

    code: Concept
    value_quantity: Amount | None = None
    value_sampled_data: Sampled | None = None
    value_boolean: bool | None = None
    data_absent_reason: Concept | None = None
    interpretation: tuple[Concept, ...] = ()
    extension: tuple[Extension, ...] = ()


class Meta(Part, frozen=True, kw_only=True):
    security: tuple[Coding, ...] = ()


class Observation(Measure, frozen=True, kw_only=True):
    id: str = ""
    status: str = ""
    meta: Meta = Meta()
    subject: Reference = Reference()
    device: Reference = Reference()
    effective_date_time: str = ""
    effective_period: Period = Period()
    effective_instant: str = ""
    value_date_time: str = ""
    component: tuple[Measure, ...] = ()


class Identifier(Part, frozen=True, kw_only=True):
    system: str = ""
    value: str = ""


class HumanName(Part, frozen=True, kw_only=True):
    text: str = ""
    family: str = ""
    given: tuple[str, ...] = ()


class DeviceName(Part, frozen=True, kw_only=True):
    name: str = ""


class Patient(Part, frozen=True, kw_only=True):
    id: str = ""
    identifier: tuple[Identifier, ...] = ()
    name: tuple[HumanName, ...] = ()


class Device(Part, frozen=True, kw_only=True):
    id: str = ""
    manufacturer: str = ""
    model_number: str = ""
    identifier: tuple[Identifier, ...] = ()
    device_name: tuple[DeviceName, ...] = ()

    def eui_64(self) -> str:
        """The device's own number in plain hexadecimal: the same in every upload, as the id of the resource need not be."""
        return next((i.value.replace("-", "") for i in self.identifier if i.system == EUI_64), "")


class DeviceMetric(Part, frozen=True, kw_only=True):
    id: str = ""
    source: Reference = Reference()
    parent: Reference = Reference()


class Entry(Part, frozen=True, kw_only=True):
    full_url: str = ""
    resource: msgspec.Raw = msgspec.Raw()


class Top(Part, frozen=True, kw_only=True):
    """What every resource says first, and what a Bundle says besides."""

    resource_type: str = ""
    id: str = ""
    timestamp: str = ""
    entry: tuple[Entry, ...] = ()

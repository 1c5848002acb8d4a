"""The hospital's own ledger: one log beside the patients' for what belongs to no patient, such as its named protocols."""

from __future__ import annotations

from spiracle.case import events as ev

LEDGER = "5f0e4c7a-91d3-4b7e-8a42-0d1c6f1e5b90"
OF_THE_HOUSE = (
    ev.ProtocolWritten, ev.ProtocolApproved, ev.ProtocolRetired, ev.ContainerReceived, ev.StockCounted,
    ev.MachineLineDone, ev.MachineLeakTested, ev.MachineFaultFound, ev.MachineFaultMended,
)  # fmt: skip

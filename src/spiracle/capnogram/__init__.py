"""The capnogram: breaths and findings of a CO2 trace, sample by sample."""

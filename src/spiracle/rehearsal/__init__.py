"""Invented waves for the demo hospital and for training: drawn by formula, said to be invented, the same at every start."""

from spiracle.rehearsal.traces import capnogram_like, pleth_like

__all__ = ["capnogram_like", "pleth_like"]

"""Turn trained weights into the ONNX files that `segment` reads (needs PyTorch and onnx).

python -m seedlingcv.training.export OUT   writes seedlingcv/segment/overhead.onnx and vegetation.onnx from OUT's .pt
"""

from __future__ import annotations

import argparse
import warnings
from pathlib import Path

import torch
from torch import nn

from seedlingcv.segment.edges import TILE_PX
from seedlingcv.segment.model import INPUT_PX
from seedlingcv.training.network import OverheadNet, VegetationNet

SEGMENT = Path(__file__).resolve().parents[1] / "segment"


def export(network: nn.Module, weights: Path, target: Path, shape: tuple[int, ...], outputs: list[str]) -> None:
    network.load_state_dict(torch.load(weights, map_location="cpu"))
    network.eval()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # OpenCV reads what the older exporter writes without fail
        torch.onnx.export(network, (torch.zeros(1, *shape),), str(target), input_names=["picture"],
                          output_names=outputs, opset_version=17, dynamo=False)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("weights", type=Path)
    weights = parser.parse_args().weights
    for name, network, shape, outputs in (
        ("overhead", OverheadNet(), (8, *INPUT_PX), ["dense", "owner", "cells"]),
        ("vegetation", VegetationNet(), (5, *TILE_PX), ["vegetation"]),
    ):
        export(network, weights / f"{name}.pt", SEGMENT / f"{name}.onnx", shape, outputs)

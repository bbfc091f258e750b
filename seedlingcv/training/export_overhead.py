"""Turn trained weights into the ONNX file that `segment.model` reads (needs PyTorch and onnx).

python -m seedlingcv.training.export_overhead overhead.pt seedlingcv/segment/overhead.onnx
"""

from __future__ import annotations

import argparse
import warnings
from pathlib import Path

import torch

from seedlingcv.segment.model import INPUT_PX
from seedlingcv.training.network import OverheadNet


def export(weights: Path, target: Path) -> None:
    network = OverheadNet()
    network.load_state_dict(torch.load(weights, map_location="cpu"))
    network.eval()
    height, width = INPUT_PX
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # OpenCV reads what the older exporter writes without fail
        torch.onnx.export(
            network,
            (torch.zeros(1, 8, height, width),),
            str(target),
            input_names=["picture"],
            output_names=["dense", "owner", "cells"],
            opset_version=17,
            dynamo=False,
        )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("weights", type=Path)
    parser.add_argument("target", type=Path)
    a = parser.parse_args()
    export(a.weights, a.target)

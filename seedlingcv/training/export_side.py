"""Turn trained weights into the ONNX file that `segment.side_model` reads (needs PyTorch and onnx).

python -m seedlingcv.training.export_side side.pt seedlingcv/segment/side.onnx
"""

from __future__ import annotations

import argparse
import warnings
from pathlib import Path

import torch

from seedlingcv.training.side_network import SideNet

SIZE = (512, 2272)  # only an example: the file takes every size


def export(weights: Path, target: Path) -> None:
    network = SideNet()
    network.load_state_dict(torch.load(weights, map_location="cpu"))
    network.eval()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # OpenCV reads what the older exporter writes without fail
        torch.onnx.export(
            network,
            (torch.zeros(1, 7, *SIZE),),
            str(target),
            input_names=["strip"],
            output_names=["fine", "ways"],
            dynamic_axes={"strip": {2: "rows", 3: "columns"}},
            opset_version=17,
            dynamo=False,
        )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("weights", type=Path)
    parser.add_argument("target", type=Path)
    a = parser.parse_args()
    export(a.weights, a.target)

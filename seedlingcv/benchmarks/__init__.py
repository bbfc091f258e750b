"""How accurate the program is, against photos with exact truth and beside simpler ways (not in the wheel).

`python -m seedlingcv.benchmarks.accuracy EVAL_FOLDER` measures everything anew and writes ACCURACY.md.
"""

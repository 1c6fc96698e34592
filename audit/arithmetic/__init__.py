"""Pure computations on columns: no Dataset, no file, no clock."""

"""A whole job as one file: inputs, identification, preparation, fit, proof, sheet, and a manifest that ties them."""

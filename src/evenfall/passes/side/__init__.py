"""Pictures beside the passes: plates, cut-outs, masks, object numbers, guides of the denoiser."""

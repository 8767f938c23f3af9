"""Which option does least harm: policy, options, gates, harm, recommendation."""

"""The steps of the notebooks: what each cell shows of the survey and the zone that were chosen."""

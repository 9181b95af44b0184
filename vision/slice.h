/* The inner loop that sorts pixels into the bins of a slice. Used by slice.go only,
 * which checks that the box lies in the plane. */
#ifndef STRIPGAP_SLICE_H
#define STRIPGAP_SLICE_H

/* Sort the pixels of a plane's rows top to bottom and columns left to right into bins
 * (sum of places across, sum of luma, pixels). The frame is its origin and its unit
 * directions along and across. What counts lies within half px along, across from
 * cuts[0] up to cuts[1], and not between cuts[2] and cuts[3]. Returns how many pixels
 * count; *bright are those of them at bright_from or over. */
int sort_pixels(const unsigned char *plane, int w, int top, int bottom, double left, double right,
	const double *frame, double half, const double *cuts, double bins_per_px, int bright_from,
	double *bins, int *bright);

#endif

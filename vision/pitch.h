/* The inner loop of the fit of equal bars' pitch. Used by pitch.go only, which checks
 * sizes. */
#ifndef STRIPGAP_PITCH_H
#define STRIPGAP_PITCH_H

/* The unknowns: a line's level and slope, the cosine and sine of three harmonics, and
 * the relative change of the pitch. */
enum { PITCH_HARMONICS = 3, PITCH_STRETCH = 2 + 2 * PITCH_HARMONICS, PITCH_UNKNOWNS };

/* Add up the normal equations of n places x with luma and weight at the unknowns at:
 * the harmonics' angle is omega (1 + stretch) x. The lower half of the matrix goes to
 * a, whose rows are row numbers apart, the right side to b, and the sum of squares
 * to rr. */
void pitch_equations(const double *x, const double *luma, const double *weight, int n, double omega, double stretch,
	const double *at, double *a, int row, double *b, double *rr);

#endif

/* Averages by twos of planes whose sides can be halved that often. Used by
 * shrink.go only, which checks that. */
#ifndef STRIPGAP_SHRINK_H
#define STRIPGAP_SHRINK_H

#include <stddef.h>

/* Average w x h samples over 2 x 2 into out. */
void halve_plane(const unsigned char *in, size_t w, size_t h, unsigned char *out);

/* The same twice. spare has room for two rows of w / 2 samples. */
void quarter_plane(const unsigned char *in, size_t w, size_t h, unsigned char *out, unsigned char *spare);

#endif

/* Loops that work on many numbers at once. */
#ifndef STRIPGAP_LANES_H
#define STRIPGAP_LANES_H

/* WIDE is put before a function of which a processor with wider registers is to have a
 * version of its own. Both give the same. */
#if defined(__x86_64__) && defined(__linux__) && defined(__GNUC__) && !defined(__clang__)
#define WIDE __attribute__((target_clones("avx2", "default")))
#else
#define WIDE
#endif

#endif

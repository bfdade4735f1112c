/* Sets of items that fit together. */

#ifndef LIMBTRIM_PACKING_H
#define LIMBTRIM_PACKING_H

#include "native.h"

/* As in optimizer/solve/packing.py. */
#define MOST_ITEMS 64
/* Weights smaller than this are none. */
#define ZERO 1e-24

typedef uint64_t Word;

/* Sets come upon by one search that are remembered. */
#define BETTER 8

/* Looking for the set that is worth most. */
typedef struct {
    const Packing *p;
    const double *worth; /* of the items, then of the pairs */
    int n, n_paired;     /* items worth looking at; the first of them are in pairs */
    int item[MOST_ITEMS], partners[MOST_ITEMS];
    int partner[MOST_ITEMS][MOST_ITEMS]; /* by item: others that count besides, and how much */
    double together[MOST_ITEMS][MOST_ITEMS];
    double single[MOST_ITEMS]; /* by item: its weight, all kinds together */
    double share[MOST_KINDS];
    double best, enough;
    Word set;
    Word better[BETTER]; /* what was the best on the way, the last of `n_better` */
    int n_better;
    int64_t looked, budget;
    int over;
} Heaviest;

static inline int fits(const Packing *p, const double *load, int i)
{
    const double *weight = p->weight + (size_t)i * p->n_kinds;
    for (int k = 0; k < p->n_kinds; k++)
        if (load[k] + weight[k] > 1.0 + ROOM)
            return 0;
    return 1;
}

/* The set that is worth most if that is more than `above`, of items that go with one (-1: any), or
 * the first found that is worth `enough`. */
void heaviest(Heaviest *h, const Packing *p, const double *worth, int with, double above,
              double enough, int64_t budget);

/* The best of the sets of some `items` that changing some sets leads to, if it is worth more than
 * `above`, which then is what it is worth; else 0. */
Word nearby(const Packing *p, const double *worth, Word items, const Word *from, int n_from,
            double *above);

#endif

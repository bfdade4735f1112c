/* What the compiled parts are given: a problem (optimizer/problem/pairwise.py) and what a bound
 * (optimizer/solve/bounds.py) makes of its costs. Filled in by optimizer/native/structures.py,
 * field by field in this order. */

#ifndef LIMBTRIM_NATIVE_H
#define LIMBTRIM_NATIVE_H

#include <stdint.h>

/* Relative room left when capacities and limits are compared: what just fits, fits. */
#define ROOM 1e-9
/* Larger problems are left to the road without compiled parts. */
#define MOST_SLOTS 512
#define MOST_LIMITS 64
#define MOST_KINDS 16

enum { ALL = 0, OVER_BUDGET = 1, FULL = 2, NO_MEMORY = 3 };

/* A table of two slots a < b has a cell for every choice of a with every choice of b, row after
 * row; the cells of all tables are numbered through, those of a pair from `pair_start` on. */
typedef struct {
    int32_t n_slots, n_choices, n_sites, n_kinds, n_limits, n_pairs, n_lines;
    const int32_t *first;          /* (n_slots + 1) where each slot's choices begin */
    const int32_t *site;           /* (n_choices) */
    const double *capacity_use;    /* (n_choices, n_kinds) share of its site's capacity */
    const double *cost;            /* (n_choices) */
    const double *use_cost;        /* (n_sites) */
    const double *pair_cost;       /* (n_cells) infinite where the two may not be together */
    const double *pair_bottom;     /* (n_pairs) the least of its table */
    const double *limit;           /* (n_choices, n_limits) */
    const double *use_limit;       /* (n_sites, n_limits) */
    const double *pair_limit;      /* (n_cells, n_limits) the least of a line's options */
    const double *pair_limit_bottom, *pair_limit_top; /* (n_pairs, n_limits) */
    const double *upper;           /* (n_limits) */
    const int32_t *pair_a, *pair_b; /* (n_pairs) */
    const int64_t *pair_start;     /* (n_pairs) */
    const int32_t *beside;         /* (n_slots + 1) where each slot's pairs begin in the next two */
    const int32_t *beside_pair, *beside_slot;
    /* lines that can be bought in several ways somewhere */
    const int32_t *line_a, *line_b, *line_options; /* (n_lines) */
    const int64_t *line_start;     /* (n_lines) the first of its (choices of a, choices of b, options) */
    const double *option_cost;     /* infinite where it cannot be bought or is not worth it */
    const double *option_limit;    /* (.., n_limits) */
    double constant;
    int32_t use_saves;             /* whether any of `use_limit` is negative */
} Problem;

/* What everything costs at least under multipliers, as `Bound` has it. */
typedef struct {
    const double *choice, *share;  /* (n_choices) */
    const double *use;             /* (n_sites) */
    const double *table;           /* (n_cells) */
    /* A site in use costs `empty` (n_sites) on top, less what is at it brings: `filling`
     * (n_choices) each, and `together` where two are, never less than nothing. A choice's mates
     * are those from `mates` (n_choices + 1) on. */
    const double *empty, *filling;
    const double *idle;            /* (n_sites) what it costs that a site is not in use */
    const int32_t *mates, *mate, *mate_slot;
    const double *together;
    double constant;
} Costs;

/* What is asked: assignments over the choices `open` (n_choices) that cost at most `most`, with
 * no more than `budget` partial assignments looked at. After `probe` of them, and whenever their
 * number has doubled, the share of the tree that is done tells how many there will be; where that
 * is more than the budget, the search ends at once.
 * `least_form` (n_limits) is what pieces bring to each limit at least. Where the costs
 * are a layout's score to the last (`top` > 0), only the `top` best are wanted. */
typedef struct {
    const uint8_t *open;
    const double *least_form;
    double most, tie;
    int64_t budget, probe, most_found;
    int32_t top, width;
} Asked;

/* What came out: `n_found` rows of choices (most_found, n_slots), partial assignments looked at. */
typedef struct {
    int32_t *found;
    int64_t n_found, looked;
} Answer;

/* Items of which not all fit together: `weight` (n_items, n_kinds) in capacities scaled to 1,
 * `clash` (n_items) bits of what each excludes, itself included; `pair_a`, `pair_b` (n_pairs) two
 * that fit together and count besides when both are there. */
typedef struct {
    int32_t n_items, n_kinds, n_pairs;
    const double *weight;
    const uint64_t *clash;
    const int32_t *pair_a, *pair_b;
} Packing;

/* How much there is of every item, then of every pair, at a point, and of the sets in all. A cut
 * is wanted that it oversteps by more than `least`. Items it has nothing of come in with `least_lift`
 * or more. No more than `budget` partial sets are looked at. */
typedef struct {
    const double *point;
    double used, least, least_lift;
    int64_t budget;
} Overstep;

/* The cut sum of `coefficient` . (items, pairs) <= `most` times what is used; `known` (KNOWN) are
 * sets found for earlier points, the last of `n_known` so far. */
typedef struct {
    double *coefficient;
    double most;
    uint64_t *known;
    int64_t n_known;
} HullCut;

#define KNOWN 512

#endif

/* A partial assignment and what can still become of it. */

#ifndef LIMBTRIM_PARTIAL_H
#define LIMBTRIM_PARTIAL_H

#include <stddef.h>

#include "native.h"

/* `list` holds the choices left of every slot still open, `begin[k]` on for slot `slots[k]`. */
typedef struct {
    int32_t *slots, *begin, *list;
    double *ahead;  /* beside `list`: what a choice costs under multipliers, its site's share left out */
    double *full;   /* the same with its part in a site not yet in use */
    double *plain;  /* what it costs without multipliers */
    double *whole;  /* the same with its part in a site not yet in use */
    /* per open slot: the least of `full`, the least and the most of `whole` */
    double *low, *bare_low, *bare_high;
    /* and of what its choices bring to each limit, (open slots, n_limits); whether out of date */
    double *lightest, *heaviest;
    uint8_t *stale;
    uint8_t *used;  /* (n_sites) */
    double *room;   /* (n_sites, n_kinds) */
    double *empty;  /* (n_sites) what it costs that no more is there, where it is in use */
    double *form;   /* (n_limits) what is settled, and the least of pairs still open */
    double *top;      /* (n_limits) the most it can come to, lines at their least */
    int32_t *binding; /* (n_limits) the limits that can still be broken, `n_binding` of them */
    int32_t *chosen;  /* (n_slots), -1 where open */
    double cost, paid;     /* what is settled, under multipliers and without */
    double total, pending; /* what it comes to at least; the least of pairs still open */
    int32_t n_open, n_binding;
} Partial;

/* Room to work in. */
typedef struct {
    const Problem *problem;
    const Costs *costs;
    uint8_t *exposed;  /* (open slots) whether a choice could break a binding limit */
    double *slot_top;  /* (n_slots, n_limits) the most of a slot's choices */
    double *use_top;   /* (n_limits) the most that a site in use brings */
    /* (n_sites) slots that fit there together, those that could still be there, the last one
     * counted; what these pay for it as the bound has it, in all and at most, and their parts in it
     * beyond that under multipliers, and without any */
    int32_t *fit_at, *slots_at, *last_at;
    double *paid_at, *most_at, *part, *bare_part;
    /* (n_sites) what it costs at least that a site is not full, or not in use; the same from a bound
     * that tells what room is worth there (`rate`), of which kind; of the slot at hand, how much
     * less there would be without it, and what that costs */
    double *unfilled, *lack, *rate, *gain, *loss;
    int32_t *kind, *seen;
    /* (n_sites) slots that could come to a site: their number, what they bring at most (n_sites,
     * n_slots), and what room they take up at least (.., n_kinds) */
    int32_t *n_items;
    double *brings, *takes;
    /* beside `list`: what a choice brings to its site beyond what it costs more than its slot's
     * cheapest, and as which of the site's slots; what it costs beyond what all cost together at
     * least, and per open slot the most of that */
    double *brought, *more, *most_more;
    int32_t *item;
    double *best;    /* (top) the best scores found, in order */
    /* (n_lines, n_limits) of a whole assignment: what a line's other options can take off a limit
     * that its cheapest one brings, what that takes at least for each unit, and what all lines from
     * one on can take off, (n_lines + 1, n_limits) */
    double *relief, *price, *left;
    /* (n_limits, n_lines) for each limit the lines that relieve it, cheapest first; their number */
    int32_t *order, *n_order;
    double most;
    int64_t looked, budget;
    int32_t n_best, over; /* `over`: the budget ended a search for options */
} Work;

/* Bytes of one partial assignment's arrays, and where they lie. */
size_t partial_bytes(const Problem *p);
void lay_out(const Problem *p, Partial *at, char *space);

/* Nothing chosen yet. */
void begin(const Work *w, const Asked *asked, Partial *at);

/* What it costs at least that sites are not full, told of each and in all; what each choice of the
 * k-th open slot costs at least beyond that and all slots' cheapest (filling.c). */
double unfilled(Work *w, const Partial *at);
void weighed_up(Work *w, Partial *at, int k);

int set_up_filling(Work *w);
void tear_down_filling(Work *w);

/* What a choice brings to its site: with those there, and half of it with those `coming`. */
double brought(const Work *w, const Partial *at, int c, int coming);

/* Close choices that cannot be below the threshold; 0 if nothing is left. */
int narrowed(Work *w, Partial *at);

/* One more slot filled: the k-th open one of `from` with the i-th of `list`. */
void filled(const Work *w, const Partial *from, Partial *to, int k, int i);

/* The open slot with the fewest choices left. */
int fewest(const Partial *at);

/* Whether a whole assignment keeps the limits and costs little enough with some options of its
 * lines, as far as the budget goes; remembers its score where the `top` best are wanted. */
int worth_having(Work *w, const Asked *asked, const Partial *at);

/* Memory to work in; 0 if there is none. */
int set_up(Work *w, const Problem *p, const Costs *costs, const Asked *asked);
void tear_down(Work *w);

#endif

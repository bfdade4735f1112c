/* All assignments below a threshold, depth first.
 *
 * Every partial assignment carries what each choice still open would cost under the multipliers of
 * a bound, and without any. The sum over slots of the least of these bounds what it can become; a
 * choice with which it would exceed the threshold is closed below it, as is one that no longer fits
 * its site or would break a limit. The slot with the fewest choices left is filled next. */

#include <stdlib.h>
#include <string.h>

#include "partial.h"

typedef struct {
    Work work;
    const Asked *asked;
    Answer *answer;
    Partial *levels;
    double done;   /* share of the tree; a node's children have equal shares of its own */
    int64_t check; /* partial assignments after which to see how far it is */
} Search;

/* Whether the whole of it would take more than the budget, as far as what is done tells. */
static int too_many(Search *s)
{
    const int64_t looked = s->work.looked;
    if (looked > s->asked->budget)
        return 1;
    if (looked < s->check)
        return 0;
    s->check = 2 * looked;
    return s->done * (double)s->asked->budget < (double)looked;
}

/* The cheapest choice of the k-th open slot first. */
static void sorted(Partial *at, int k)
{
    const int from = at->begin[k], to = at->begin[k + 1];
    for (int i = from + 1; i < to; i++) {
        const int32_t c = at->list[i];
        const double full = at->full[i], ahead = at->ahead[i], plain = at->plain[i];
        int j = i;
        for (; j > from && at->full[j - 1] > full; j--) {
            at->list[j] = at->list[j - 1];
            at->full[j] = at->full[j - 1];
            at->ahead[j] = at->ahead[j - 1];
            at->plain[j] = at->plain[j - 1];
        }
        at->list[j] = c;
        at->full[j] = full;
        at->ahead[j] = ahead;
        at->plain[j] = plain;
    }
}

/* Everything below a level, `share` of the tree: ALL, or why not all of it was looked at. */
static int below(Search *s, int depth, double share)
{
    Partial *at = s->levels + depth;
    const int n_slots = s->work.problem->n_slots;
    if (!narrowed(&s->work, at)) {
        s->done += share;
        return ALL;
    }
    if (!at->n_open) {
        s->done += share;
        if (!worth_having(&s->work, s->asked, at))
            return s->work.over ? OVER_BUDGET : ALL;
        if (s->answer->n_found >= s->asked->most_found)
            return FULL;
        memcpy(s->answer->found + s->answer->n_found++ * n_slots, at->chosen,
               sizeof(int32_t) * n_slots);
        return s->work.over ? OVER_BUDGET : ALL;
    }
    const int k = fewest(at);
    sorted(at, k);
    share /= at->begin[k + 1] - at->begin[k];
    for (int i = at->begin[k]; i < at->begin[k + 1]; i++) {
        s->work.looked++;
        if (too_many(s))
            return OVER_BUDGET;
        filled(&s->work, at, at + 1, k, i);
        const int end = below(s, depth + 1, share);
        if (end != ALL)
            return end;
    }
    return ALL;
}

int limbtrim_enumerate(const Problem *p, const Costs *costs, const Asked *asked, Answer *answer)
{
    Search s = {.asked = asked, .answer = answer, .check = asked->probe};
    const size_t each = partial_bytes(p), n = (size_t)p->n_slots + 1;
    const int ready = set_up(&s.work, p, costs, asked);
    char *space = malloc(each * n);
    s.levels = malloc(sizeof(Partial) * n);
    int end = NO_MEMORY;
    answer->n_found = answer->looked = 0;
    if (ready && space && s.levels) {
        for (size_t k = 0; k < n; k++)
            lay_out(p, s.levels + k, space + k * each);
        begin(&s.work, asked, s.levels);
        end = below(&s, 0, 1.0);
        answer->looked = s.work.looked;
    }
    free(space);
    free(s.levels);
    tear_down(&s.work);
    return end;
}

/* grid.c - blocks side by side, a line of them at a time, each line a strip that is never split. */
#include "paper_priv.h"

void kb_set_grid(struct kb_setting *setting, const struct kb_node *node, double width,
                 size_t columns, const double *shares, double gap, struct kb_flow *flow) {
    struct kb_box *line = NULL;
    double x = 0.0;
    size_t column = 0;
    double room = width - gap * (double)(columns - 1);
    for (const struct kb_node *child = node->first; child != NULL; child = child->next) {
        if (child->tag == NULL) {
            continue;
        }
        if (column == columns) {
            (void)kb_flow_add(setting, flow, line, 8.0, 6.0);
            line = NULL;
            column = 0;
        }
        if (line == NULL) {
            line = kb_box_new(setting, KB_BOX_GROUP);
            x = 0.0;
        }
        double own = shares != NULL ? room * shares[column] : room / (double)columns;
        struct kb_flow inside = {0};
        kb_set_block(setting, child, own, &inside);
        kb_box_put(line, kb_flow_stack(setting, &inside, own), x, 0.0);
        x += own + gap;
        column++;
    }
    if (line != NULL) {
        (void)kb_flow_add(setting, flow, line, 8.0, 6.0);
    }
}

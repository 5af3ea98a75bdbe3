/* tree.c - the page's markup as a tree.
 *
 * Read with expat: the page is XML-clean (kb_report_html). Of each element the place in the page is
 * kept too, because drawings are handed on as they stand. Comments and the document type are passed
 * over; no entity but the five of XML is known.
 */
#include "paper_priv.h"

#include <expat.h>
#include <string.h>

enum { DEEPEST = 64 }; /* elements within one another; the page has ten or so */

struct reader {
    XML_Parser parser;
    struct kb_node *root, *open;
    int depth;
    bool memory_failed, too_deep;
};

static void node_free(struct kb_node *node) {
    if (node->attribute != NULL) {
        for (size_t i = 0; node->attribute[i] != NULL; i++) {
            kb_free(node->attribute[i]);
        }
    }
    kb_free(node->attribute);
    kb_free(node->tag);
    kb_free(node->text);
    kb_free(node);
}

void kb_tree_release(struct kb_node *root) {
    if (root == NULL) {
        return;
    }
    for (struct kb_node *child = root->first, *next = NULL; child != NULL; child = next) {
        next = child->next;
        kb_tree_release(child);
    }
    node_free(root);
}

static void stop(struct reader *reader, bool *why) {
    *why = true;
    (void)XML_StopParser(reader->parser, XML_FALSE);
}

static void hang(struct reader *reader, struct kb_node *node) {
    struct kb_node *parent = reader->open;
    node->parent = parent;
    if (parent == NULL) {
        reader->root = node;
    } else if (parent->last == NULL) {
        parent->first = parent->last = node;
    } else {
        parent->last->next = node;
        parent->last = node;
    }
}

static char **copy_pairs(const XML_Char **pairs) {
    size_t count = 0;
    while (pairs[count] != NULL) {
        count++;
    }
    char **copy = kb_alloc_zero(count + 1, sizeof *copy);
    for (size_t i = 0; copy != NULL && i < count; i++) {
        copy[i] = kb_copy_string(pairs[i]);
        if (copy[i] == NULL) {
            for (size_t k = 0; k < i; k++) {
                kb_free(copy[k]);
            }
            kb_free(copy);
            return NULL;
        }
    }
    return copy;
}

static void XMLCALL element_start(void *context, const XML_Char *tag, const XML_Char **pairs) {
    struct reader *reader = context;
    if (++reader->depth > DEEPEST) {
        stop(reader, &reader->too_deep);
        return;
    }
    struct kb_node *node = kb_alloc_zero(1, sizeof *node);
    if (node == NULL || (node->tag = kb_copy_string(tag)) == NULL ||
        (node->attribute = copy_pairs(pairs)) == NULL) {
        if (node != NULL) {
            node_free(node);
        }
        stop(reader, &reader->memory_failed);
        return;
    }
    node->start = (size_t)XML_GetCurrentByteIndex(reader->parser);
    hang(reader, node);
    reader->open = node;
}

static void XMLCALL element_end(void *context, const XML_Char *tag) {
    struct reader *reader = context;
    (void)tag;
    reader->depth--;
    /* of an empty element, start and end tag are the same bytes, and the count is of both */
    reader->open->end = (size_t)XML_GetCurrentByteIndex(reader->parser) +
                        (size_t)XML_GetCurrentByteCount(reader->parser);
    reader->open = reader->open->parent;
}

static void XMLCALL characters(void *context, const XML_Char *bytes, int length) {
    struct reader *reader = context;
    if (reader->open == NULL) {
        return;
    }
    struct kb_node *last = reader->open->last;
    size_t had = last != NULL && last->tag == NULL ? strlen(last->text) : 0;
    char *text = kb_resize(had > 0 ? last->text : NULL, had + (size_t)length + 1, 1);
    if (text == NULL) {
        stop(reader, &reader->memory_failed);
        return;
    }
    memcpy(text + had, bytes, (size_t)length);
    text[had + (size_t)length] = '\0';
    if (had > 0) {
        last->text = text;
        return;
    }
    struct kb_node *node = kb_alloc_zero(1, sizeof *node);
    if (node == NULL) {
        kb_free(text);
        stop(reader, &reader->memory_failed);
        return;
    }
    node->text = text;
    hang(reader, node);
}

enum kb_status kb_tree_read(const char *page, size_t length, struct kb_node **root,
                            struct kb_err *err) {
    struct reader reader = {.parser = XML_ParserCreate("UTF-8")};
    *root = NULL;
    if (reader.parser == NULL) {
        return kb_fail_memory(err, "paper", length);
    }
    XML_SetUserData(reader.parser, &reader);
    XML_SetElementHandler(reader.parser, element_start, element_end);
    XML_SetCharacterDataHandler(reader.parser, characters);
    bool fits = length <= (size_t)INT32_MAX;
    bool read = fits && XML_Parse(reader.parser, page, (int)length, 1) == XML_STATUS_OK;
    enum kb_status status = KB_OK;
    if (!read) {
        status = reader.memory_failed
                     ? kb_fail_memory(err, "paper", length)
                     : kb_fail(err, KB_E_INPUT, "paper", NULL,
                               "the page cannot be set: %s (line "
                               "%lu)",
                               !fits             ? "it is larger than 2 GB"
                               : reader.too_deep ? "its elements are nested too deeply"
                                                 : XML_ErrorString(XML_GetErrorCode(reader.parser)),
                               (unsigned long)XML_GetCurrentLineNumber(reader.parser));
        kb_tree_release(reader.root);
        reader.root = NULL;
    }
    XML_ParserFree(reader.parser);
    *root = reader.root;
    return status;
}

const char *kb_node_attribute(const struct kb_node *node, const char *name) {
    for (char **pair = node->attribute; pair != NULL && pair[0] != NULL; pair += 2) {
        if (strcmp(pair[0], name) == 0) {
            return pair[1];
        }
    }
    return "";
}

bool kb_node_is(const struct kb_node *node, const char *tag) {
    return node->tag != NULL && strcmp(node->tag, tag) == 0;
}

bool kb_node_class(const struct kb_node *node, const char *class_name) {
    const char *classes = node->tag != NULL ? kb_node_attribute(node, "class") : "";
    size_t length = strlen(class_name);
    for (const char *at = classes; (at = strstr(at, class_name)) != NULL; at += length) {
        bool starts = at == classes || at[-1] == ' ';
        if (starts && (at[length] == '\0' || at[length] == ' ')) {
            return true;
        }
    }
    return false;
}

const struct kb_node *kb_node_find(const struct kb_node *node, const char *tag) {
    if (kb_node_is(node, tag)) {
        return node;
    }
    for (const struct kb_node *child = node->first; child != NULL; child = child->next) {
        const struct kb_node *found = kb_node_find(child, tag);
        if (found != NULL) {
            return found;
        }
    }
    return NULL;
}

const struct kb_node *kb_node_element(const struct kb_node *node, size_t n) {
    for (const struct kb_node *child = node->first; child != NULL; child = child->next) {
        if (child->tag != NULL && n-- == 0) {
            return child;
        }
    }
    return NULL;
}

void kb_node_words(const struct kb_node *node, struct kb_text *out) {
    for (const char *c = node->text; c != NULL && *c != '\0'; c++) {
        bool blank = *c == ' ' || *c == '\n' || *c == '\t' || *c == '\r';
        bool after = out->length == 0 || out->data[out->length - 1] == ' ';
        if (!blank || !after) {
            kb_text_add_bytes(out, blank ? " " : c, 1);
        }
    }
    for (const struct kb_node *child = node->first; child != NULL; child = child->next) {
        kb_node_words(child, out);
    }
}

/* opencv_steps.cpp - the steps of `keelblock measure` on one etched ductile-iron field, on OpenCV.
 *
 *   opencv_steps FIELD PX_UM        measures and prints the figures as JSON
 *   opencv_steps --start-only       only loads the program and its libraries
 *
 * The opponent of scripts/bench, written to win: full resolution where the result needs it, whole-
 * image operations in 8 or 16 bit, contours traced once and used for cleaning and for measuring
 * alike. Same order of work as the program: digest, decode, even illumination, median, exact
 * three-class threshold, pearlite by the local mean at colony scale, dark lines, specks and holes,
 * depth of dark regions, parting of touching nodules, shape of each particle, sums, rows of text.
 * Left out, to the opponent's advantage: what the program reads from a picture to decide which of
 * these steps to take (noise, blur at edges, whether lamellae are resolved), unbiased perimeter and
 * counts, intervals, and what it finds worth telling.
 * Its answers need only be near: scripts/bench checks graphite and nodule count against the others.
 */
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <fstream>
#include <iterator>
#include <string>
#include <vector>

#include <nettle/sha2.h>

namespace {

/* As in the program's defaults, in micrometres. */
const double clean_um = 2.0, colony_um = 4.0, line_um = 2.0, min_feret_um = 10.0;
const double part_depth_um = 1.0, least_radius_um = 2.5;
/* A neck this share of the lesser radius, or narrower, parts; rounder regions are not looked at. */
const double part_neck = 0.75, suspect_solidity = 0.97;
const double nodule_shape = 0.6, part_solidity = 0.9;

typedef std::vector<cv::Point> Contour;

struct Particle {
    double area, perimeter, feret_max, feret_min, shape_factor, solidity, aspect, circularity;
    double x, y, major, minor;
    bool on_frame, counts, nodule;
};

std::string digest(const std::vector<uchar> &bytes) {
    sha256_ctx context;
    uint8_t sum[SHA256_DIGEST_SIZE];
    sha256_init(&context);
    sha256_update(&context, bytes.size(), bytes.data());
    sha256_digest(&context, sizeof sum, sum);
    char text[2 * sizeof sum + 1];
    for (size_t i = 0; i < sizeof sum; i++)
        std::snprintf(text + 2 * i, 3, "%02x", sum[i]);
    return text;
}

std::vector<double> histogram(const cv::Mat &grey) {
    const int size = 256, channel = 0;
    const float range[] = {0, 256}, *ranges = range;
    cv::Mat bins;
    cv::calcHist(&grey, 1, &channel, cv::Mat(), bins, 1, &size, &ranges);
    return std::vector<double>(bins.begin<float>(), bins.end<float>());
}

void otsu3(const std::vector<double> &bins, int &low, int &high) {
    double count[257] = {0}, sum[257] = {0}, best = -1;
    for (int i = 0; i < 256; i++) {
        count[i + 1] = count[i] + bins[i];
        sum[i + 1] = sum[i] + bins[i] * i;
    }
    auto term = [&](int first, int end) {
        double n = count[end] - count[first], s = sum[end] - sum[first];
        return n > 0 ? s * s / n : 0;
    };
    for (int a = 0; a < 254; a++)
        for (int b = a + 1; b < 255; b++) {
            double between = term(0, a + 1) + term(a + 1, b + 1) + term(b + 1, 256);
            if (between > best)
                best = between, low = a, high = b;
        }
}

/* Divide out a second-order surface fitted to block means of the brightest class, with one round of
 * reweighting. */
void even_light(cv::Mat &grey) {
    int low = 0, high = 0;
    otsu3(histogram(grey), low, high);
    const cv::Size blocks(grey.cols / 32, grey.rows / 32);
    cv::Mat bright, is_bright, value, share;
    cv::threshold(grey, bright, high, 0, cv::THRESH_TOZERO);
    cv::threshold(grey, is_bright, high, 255, cv::THRESH_BINARY);
    cv::resize(bright, value, blocks, 0, 0, cv::INTER_AREA);
    cv::resize(is_bright, share, blocks, 0, 0, cv::INTER_AREA);

    const int n = blocks.area();
    cv::Mat terms(n, 6, CV_64F), wanted(n, 1, CV_64F), weight(n, 1, CV_64F), solution;
    for (int i = 0; i < n; i++) {
        double u = 2.0 * (i % blocks.width) / blocks.width - 1;
        double v = 2.0 * (i / blocks.width) / blocks.height - 1;
        double part = share.at<uchar>(i / blocks.width, i % blocks.width) / 255.0;
        double row[6] = {1, u, v, u * u, u * v, v * v};
        std::memcpy(terms.ptr<double>(i), row, sizeof row);
        wanted.at<double>(i) =
            part > 0.1 ? value.at<uchar>(i / blocks.width, i % blocks.width) / part : 0;
        weight.at<double>(i) = part > 0.1 ? part : 0;
    }
    for (int round = 0; round < 2; round++) {
        cv::Mat a, b = wanted.mul(weight);
        cv::multiply(terms, cv::repeat(weight, 1, 6), a);
        cv::solve(a, b, solution, cv::DECOMP_NORMAL | cv::DECOMP_CHOLESKY);
        cv::Mat off = terms * solution - wanted;
        for (int i = 0; i < n; i++)
            weight.at<double>(i) *= 1 / (1 + std::pow(off.at<double>(i) / 5.0, 2));
    }
    cv::Mat surface = cv::Mat(terms * solution).reshape(1, blocks.height), surface8;
    surface.convertTo(surface8, CV_8U, 160 / cv::mean(surface)[0]);
    cv::resize(surface8, surface8, grey.size(), 0, 0, cv::INTER_LINEAR);
    cv::divide(grey, surface8, grey, 160);
}

/* Pixels of a region from its outer contour, holes filled (Pick's theorem), and of a hole. */
double region_px(const Contour &c) {
    return cv::contourArea(c) + c.size() / 2.0 + 1;
}
double hole_px(const Contour &c) {
    return cv::contourArea(c) - c.size() / 2.0 + 1;
}

/* Remove regions and fill holes below `least` pixels; hand over the contours of what stays. */
std::vector<Contour> clean(cv::Mat &mask, double least) {
    std::vector<Contour> contours, kept;
    std::vector<cv::Vec4i> links;
    cv::findContours(mask, contours, links, cv::RETR_CCOMP, cv::CHAIN_APPROX_NONE);
    for (size_t i = 0; i < contours.size(); i++) {
        bool hole = links[i][3] >= 0;
        if ((hole ? hole_px(contours[i]) : region_px(contours[i])) < least)
            cv::drawContours(mask, contours, (int)i, hole ? 255 : 0, cv::FILLED);
        else if (!hole)
            kept.push_back(contours[i]);
    }
    return kept;
}

/* Whether most of a dark region is nearer to the grey of graphite than to the threshold. */
bool is_deep(const Contour &region, const cv::Mat &deep) {
    const cv::Rect box = cv::boundingRect(region);
    cv::Mat mask = cv::Mat::zeros(box.size(), CV_8U);
    cv::fillPoly(mask, std::vector<Contour>{region}, 1, cv::LINE_8, 0, -box.tl());
    const int pixels = cv::countNonZero(mask);
    cv::bitwise_and(mask, deep(box), mask);
    return cv::countNonZero(mask) > pixels / 2;
}

void feret(const Contour &hull, double &most, double &least) {
    most = 0, least = 1e9;
    const size_t n = hull.size();
    for (size_t i = 0; i < n; i++) {
        cv::Point2d edge = hull[(i + 1) % n] - hull[i];
        double length = std::sqrt(edge.dot(edge)), width = 0;
        for (size_t j = 0; j < n; j++) {
            cv::Point2d to = hull[j] - hull[i];
            most = std::max(most, std::sqrt(to.dot(to)));
            width = std::max(width, std::abs(edge.cross(to)) / (length > 0 ? length : 1));
        }
        least = std::min(least, width);
    }
    most += 1, least += 1;
}

Particle measure(const Contour &outline, const cv::Size &frame, double px_um) {
    Particle p = {};
    Contour hull;
    cv::convexHull(outline, hull);
    const cv::Rect box = cv::boundingRect(outline);
    const cv::Moments m = cv::moments(outline);
    p.area = region_px(outline);
    p.perimeter = cv::arcLength(outline, true);
    feret(hull, p.feret_max, p.feret_min);
    p.shape_factor = p.area / (CV_PI / 4 * p.feret_max * p.feret_max);
    p.solidity = p.area / std::max(p.area, cv::contourArea(hull) + cv::arcLength(hull, true) / 2);
    p.circularity = std::min(1.0, 4 * CV_PI * p.area / std::max(1.0, p.perimeter * p.perimeter));
    p.aspect = p.feret_max / p.feret_min;
    if (m.m00 > 0) {
        p.x = m.m10 / m.m00, p.y = m.m01 / m.m00;
        double a = m.mu20 / m.m00, b = m.mu11 / m.m00, c = m.mu02 / m.m00;
        double root = std::sqrt((a - c) * (a - c) + 4 * b * b);
        p.major = std::sqrt(8 * (a + c + root));
        p.minor = std::sqrt(8 * std::max(0.0, a + c - root));
    }
    p.on_frame = box.x == 0 || box.y == 0 || box.br().x == frame.width ||
                 box.br().y == frame.height;
    p.counts = !p.on_frame && p.feret_max * px_um >= min_feret_um;
    p.nodule = p.counts && p.shape_factor >= nodule_shape;
    return p;
}

struct Core {
    cv::Point at;
    double radius;
};

/* Least distance to the edge on the way between two cores. */
double neck_between(const cv::Mat &distance, const cv::Point &a, const cv::Point &b) {
    double least = 1e9;
    cv::LineIterator way(distance, a, b);
    for (int i = 0; i < way.count; i++, ++way)
        least = std::min(least, (double)distance.at<float>(way.pos()));
    return least;
}

/* Deepest places, deepest first, that a neck parts from every deeper one. */
std::vector<Core> cores_of(const cv::Mat &distance, double px_um) {
    const int apart = 2 * (int)std::lround(min_feret_um / px_um / 4) + 1;
    cv::Mat highest, is_core;
    cv::dilate(distance, highest,
               cv::getStructuringElement(cv::MORPH_RECT, cv::Size(apart, apart)));
    cv::compare(distance, highest, is_core, cv::CMP_GE);
    is_core.setTo(0, distance < least_radius_um / px_um);
    std::vector<cv::Point> places;
    cv::findNonZero(is_core, places);
    std::vector<Core> found, kept;
    for (const cv::Point &place : places)
        found.push_back({place, distance.at<float>(place)});
    std::stable_sort(found.begin(), found.end(),
                     [](const Core &a, const Core &b) { return a.radius > b.radius; });
    for (const Core &core : found) {
        const double limit =
            std::min(core.radius - part_depth_um / px_um, part_neck * core.radius);
        bool parted = true;
        for (size_t i = 0; i < kept.size() && parted; i++)
            parted = neck_between(distance, core.at, kept[i].at) <= limit;
        if (parted)
            kept.push_back(core);
    }
    return kept;
}

/* Outlines of the nodules that touch within `outline`; just the outline where it is one. Each pixel
 * goes to the core whose inscribed circle has the least power there: cuts run along the necks. */
std::vector<Contour> part(const Contour &outline, double px_um) {
    const cv::Rect box = cv::boundingRect(outline) + cv::Size(2, 2) - cv::Point(1, 1);
    cv::Mat mask = cv::Mat::zeros(box.size(), CV_8U), distance;
    cv::fillPoly(mask, std::vector<Contour>{outline}, 255, cv::LINE_8, 0, -box.tl());
    cv::distanceTransform(mask, distance, cv::DIST_L2, cv::DIST_MASK_5);
    const std::vector<Core> cores = cores_of(distance, px_um);
    if (cores.size() < 2)
        return {outline};
    std::vector<cv::Mat> piece(cores.size());
    for (cv::Mat &one : piece)
        one = cv::Mat::zeros(box.size(), CV_8U);
    for (int y = 0; y < mask.rows; y++)
        for (int x = 0; x < mask.cols; x++) {
            if (mask.at<uchar>(y, x) == 0)
                continue;
            size_t nearest = 0;
            double least = 1e18;
            for (size_t i = 0; i < cores.size(); i++) {
                const double dx = x - cores[i].at.x, dy = y - cores[i].at.y;
                const double power = dx * dx + dy * dy - cores[i].radius * cores[i].radius;
                if (power < least)
                    least = power, nearest = i;
            }
            piece[nearest].at<uchar>(y, x) = 255;
        }
    std::vector<Contour> parts;
    for (const cv::Mat &one : piece) {
        std::vector<Contour> found;
        cv::findContours(one, found, cv::RETR_EXTERNAL, cv::CHAIN_APPROX_NONE, box.tl());
        parts.insert(parts.end(), found.begin(), found.end());
    }
    return parts;
}

/* Parts of `region` where each is convincingly round, and all are rounder than it is itself. */
void measure_parted(const Contour &region, const cv::Size &frame, double px_um,
                    std::vector<Particle> &particles) {
    const Particle whole = measure(region, frame, px_um);
    std::vector<Particle> parts;
    double area = 0, round = 0;
    bool all_round = true;
    if (whole.solidity < suspect_solidity && whole.feret_max * px_um >= min_feret_um)
        for (const Contour &one : part(region, px_um)) {
            parts.push_back(measure(one, frame, px_um));
            const Particle &p = parts.back();
            area += p.area, round += p.area * p.shape_factor;
            all_round = all_round && p.shape_factor >= nodule_shape && p.solidity >= part_solidity;
        }
    if (parts.size() > 1 && all_round && round / area > whole.shape_factor)
        particles.insert(particles.end(), parts.begin(), parts.end());
    else
        particles.push_back(whole);
}

} // namespace

int main(int argc, char **argv) {
    if (argc == 2 && std::strcmp(argv[1], "--start-only") == 0)
        return 0;
    if (argc != 3)
        return 2;
    cv::setNumThreads(1);
    const double px_um = std::atof(argv[2]);
    std::ifstream file(argv[1], std::ios::binary | std::ios::ate);
    std::vector<uchar> bytes((size_t)file.tellg());
    file.seekg(0).read((char *)bytes.data(), (std::streamsize)bytes.size());
    const std::string sha = digest(bytes);
    cv::Mat grey = cv::imdecode(bytes, cv::IMREAD_GRAYSCALE);
    std::vector<uchar>().swap(bytes);
    if (grey.empty())
        return 3;
    const cv::Size frame = grey.size();
    const double pixels = frame.area();

    even_light(grey);
    cv::medianBlur(grey, grey, 3);
    int low = 0, high = 0;
    otsu3(histogram(grey), low, high);

    /* pearlite: the mean over the colony window of what is not graphite, against the threshold */
    cv::Mat graphite = grey <= low, matrix, sum, count, limit, deep;
    cv::compare(grey, (low + cv::mean(grey, graphite)[0]) / 2, deep, cv::CMP_LE);
    const int window = 2 * (int)std::lround(colony_um / px_um / 2) + 1;
    cv::bitwise_not(graphite, matrix);
    cv::bitwise_and(grey, matrix, grey);
    cv::boxFilter(grey, sum, CV_16U, cv::Size(window, window), cv::Point(-1, -1), false);
    cv::bitwise_and(matrix, 1, matrix);
    cv::boxFilter(matrix, count, CV_8U, cv::Size(window, window), cv::Point(-1, -1), false);
    cv::Mat table(1, 256, CV_16U);
    for (int i = 0; i < 256; i++)
        table.at<uint16_t>(i) = (uint16_t)(i * high);
    cv::LUT(count, table, limit);
    cv::Mat pearlite = sum <= limit;
    sum.release(), count.release(), limit.release(), grey.release();

    const int line = 2 * (int)std::lround(line_um / px_um / 2) + 1;
    const double least = CV_PI / 4 * std::pow(clean_um / px_um, 2);
    cv::morphologyEx(pearlite, pearlite, cv::MORPH_OPEN,
                     cv::getStructuringElement(cv::MORPH_ELLIPSE, cv::Size(line, line)));
    std::vector<Contour> regions, shallow;
    for (const Contour &region : clean(graphite, least))
        (is_deep(region, deep) ? regions : shallow).push_back(region);
    cv::drawContours(graphite, shallow, -1, 0, cv::FILLED);
    pearlite.setTo(0, graphite);
    clean(pearlite, least);
    pearlite.setTo(0, graphite);

    std::vector<Particle> particles;
    for (const Contour &region : regions)
        measure_parted(region, frame, px_um, particles);

    const double f_graphite = cv::countNonZero(graphite) / pixels;
    const double f_pearlite = cv::countNonZero(pearlite) / pixels;
    size_t nodules = 0, counted = 0;
    double nodular = 0, rated = 0;
    std::string rows;
    char row[256];
    for (const Particle &p : particles) {
        nodules += p.nodule, counted += p.counts;
        rated += p.counts ? p.area : 0, nodular += p.nodule ? p.area : 0;
        std::snprintf(row, sizeof row, "%d,%.1f,%.2f,%.2f,%.2f,%.4f,%.4f,%.3f,%.3f,%.2f,%.2f\n",
                      p.counts, p.area, p.perimeter, p.feret_max, p.feret_min, p.shape_factor,
                      p.solidity, p.aspect, p.circularity, p.major, p.minor);
        rows += row;
    }
    std::printf("{\"sha256\": \"%s\", \"graphite\": %.6f, \"pearlite\": %.6f, \"nodules\": %zu, "
                "\"counted\": %zu, \"nodularity_percent\": %.2f, \"rows_bytes\": %zu}\n",
                sha.c_str(), f_graphite, f_pearlite, nodules, counted,
                rated > 0 ? 100 * nodular / rated : 0, rows.size());
    return 0;
}

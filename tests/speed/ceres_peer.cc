// SPDX-License-Identifier: GPL-3.0-or-later
// Copyright (C) 2026 the tiptrue authors
// The same runs by the Ceres Solver: ceres_peer FOLDER RUN...
//
// The whole model of one tip (pose, offset, runout, radius, shifts of edges, group and mark with their priors), analytic derivatives,
// CauchyLoss on the touches at the scale that is 95 % efficient, covariance of the offset. One thread. Prints a line for each run:
// name, offset x, y, u of x, y, seconds of solve and covariance; reading the file and building the problem are not in them.
// FOLDER is one of make_runs.py. Built by bench.py where Ceres is installed, no part of the build.
#include <ceres/ceres.h>

#include <chrono>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <map>
#include <sstream>
#include <string>
#include <utility>
#include <vector>

namespace {

constexpr double kCauchy = 2.385;
constexpr double kPi = 3.14159265358979323846;
// unknowns: m (2), beta | o (2), e (2), r | shifts: 4 edges, group (2), second mark (2)
constexpr int kPose = 3, kTip = 5, kEdges = 4, kShifts = kEdges + 4;

struct Model {
    std::map<std::string, double> u;
    double yaw = 0, u_yaw = 0;
    struct Mark { int index; double x, y; };
    struct Edge { int index; double nx, ny, d; };
    std::map<std::string, Mark> marks;
    std::map<std::string, Edge> edges;
};

struct Sight { Model::Mark mark; double x, y; };
struct Touch { Model::Edge edge; double x, y, rotation; };

Model ReadModel(const std::string &path)
{
    Model model;
    std::ifstream stream(path);
    std::string line, key, name;
    while (std::getline(stream, line)) {
        std::istringstream words(line);
        words >> key;
        if (key == "mark") {
            Model::Mark mark{static_cast<int>(model.marks.size()), 0, 0};
            words >> name >> mark.x >> mark.y;
            model.marks[name] = mark;
        } else if (key == "edge") {
            Model::Edge edge{static_cast<int>(model.edges.size()), 0, 0, 0};
            words >> name >> edge.nx >> edge.ny >> edge.d;
            model.edges[name] = edge;
        } else if (key == "yaw_deg") {
            words >> model.yaw >> model.u_yaw;
            model.yaw *= kPi / 180;
            model.u_yaw *= kPi / 180;
        } else {
            words >> model.u[key];
        }
    }
    return model;
}

// Rows as make_runs.py writes them: kind,target,tip,x,y,rotation,...
void ReadRun(const std::string &path, const Model &model, std::vector<Sight> *sights, std::vector<Touch> *touches)
{
    std::ifstream stream(path);
    std::string line;
    while (std::getline(stream, line)) {
        std::vector<std::string> cells;
        std::istringstream row(line);
        for (std::string cell; std::getline(row, cell, ',');) {
            cells.push_back(cell);
        }
        if (cells[0] == "sight") {
            sights->push_back({model.marks.at(cells[1]), std::stod(cells[3]), std::stod(cells[4])});
        } else if (cells[0] == "touch") {
            touches->push_back({model.edges.at(cells[1]), std::stod(cells[3]), std::stod(cells[4]), std::stod(cells[5]) * kPi / 180});
        }
    }
}

class SightCost : public ceres::SizedCostFunction<2, kPose, kShifts> {
public:
    SightCost(const Sight &sight, double u) : sight_(sight), u_(u) {}
    bool Evaluate(double const *const *p, double *residuals, double **jacobians) const override
    {
        const double c = std::cos(p[0][2]), s = std::sin(p[0][2]);
        const int shift = kEdges + 2 * sight_.mark.index; // of the second mark; the first has none
        const bool shifted = sight_.mark.index > 0;
        const double x = sight_.mark.x + (shifted ? p[1][shift] : 0), y = sight_.mark.y + (shifted ? p[1][shift + 1] : 0);
        residuals[0] = (sight_.x - p[0][0] - c * x + s * y) / u_;
        residuals[1] = (sight_.y - p[0][1] - s * x - c * y) / u_;
        if (jacobians != nullptr && jacobians[0] != nullptr) {
            const double pose[] = {-1, 0, s * x + c * y, 0, -1, -c * x + s * y};
            for (int i = 0; i < 2 * kPose; i++) {
                jacobians[0][i] = pose[i] / u_;
            }
        }
        if (jacobians != nullptr && jacobians[1] != nullptr) {
            std::fill(jacobians[1], jacobians[1] + 2 * kShifts, 0.0);
            if (shifted) {
                jacobians[1][shift] = -c / u_;
                jacobians[1][shift + 1] = s / u_;
                jacobians[1][kShifts + shift] = -s / u_;
                jacobians[1][kShifts + shift + 1] = -c / u_;
            }
        }
        return true;
    }

private:
    Sight sight_;
    double u_;
};

class TouchCost : public ceres::SizedCostFunction<1, kPose, kTip, kShifts> {
public:
    TouchCost(const Touch &touch, double u) : touch_(touch), u_(u), cos_(std::cos(touch.rotation)), sin_(std::sin(touch.rotation)) {}
    bool Evaluate(double const *const *p, double *residuals, double **jacobians) const override
    {
        const double c = std::cos(p[0][2]), s = std::sin(p[0][2]);
        const double nx = c * touch_.edge.nx - s * touch_.edge.ny, ny = s * touch_.edge.nx + c * touch_.edge.ny;
        const double x = touch_.x + p[1][0] + cos_ * p[1][2] - sin_ * p[1][3] - p[0][0];
        const double y = touch_.y + p[1][1] + sin_ * p[1][2] + cos_ * p[1][3] - p[0][1];
        const double shift = p[2][touch_.edge.index] + touch_.edge.nx * p[2][kEdges] + touch_.edge.ny * p[2][kEdges + 1];
        residuals[0] = (nx * x + ny * y - touch_.edge.d - shift - p[1][4]) / u_;
        if (jacobians != nullptr && jacobians[0] != nullptr) {
            jacobians[0][0] = -nx / u_;
            jacobians[0][1] = -ny / u_;
            jacobians[0][2] = (nx * y - ny * x) / u_;
        }
        if (jacobians != nullptr && jacobians[1] != nullptr) {
            const double tip[kTip] = {nx, ny, nx * cos_ + ny * sin_, ny * cos_ - nx * sin_, -1};
            for (int i = 0; i < kTip; i++) {
                jacobians[1][i] = tip[i] / u_;
            }
        }
        if (jacobians != nullptr && jacobians[2] != nullptr) {
            std::fill(jacobians[2], jacobians[2] + kShifts, 0.0);
            jacobians[2][touch_.edge.index] = -1 / u_;
            jacobians[2][kEdges] = -touch_.edge.nx / u_;
            jacobians[2][kEdges + 1] = -touch_.edge.ny / u_;
        }
        return true;
    }

private:
    Touch touch_;
    double u_, cos_, sin_;
};

class YawCost : public ceres::SizedCostFunction<1, kPose> {
public:
    YawCost(double yaw, double u) : yaw_(yaw), u_(u) {}
    bool Evaluate(double const *const *p, double *residuals, double **jacobians) const override
    {
        residuals[0] = (p[0][2] - yaw_) / u_;
        if (jacobians != nullptr && jacobians[0] != nullptr) {
            jacobians[0][0] = jacobians[0][1] = 0;
            jacobians[0][2] = 1 / u_;
        }
        return true;
    }

private:
    double yaw_, u_;
};

class ShiftCost : public ceres::SizedCostFunction<kShifts, kShifts> {
public:
    explicit ShiftCost(const Model &model)
    {
        for (int i = 0; i < kShifts; i++) {
            u_[i] = model.u.at(i < kEdges ? "edge_u" : i < kEdges + 2 ? "group_u" : "mark_u");
        }
    }
    bool Evaluate(double const *const *p, double *residuals, double **jacobians) const override
    {
        for (int i = 0; i < kShifts; i++) {
            residuals[i] = p[0][i] / u_[i];
        }
        if (jacobians != nullptr && jacobians[0] != nullptr) {
            std::fill(jacobians[0], jacobians[0] + kShifts * kShifts, 0.0);
            for (int i = 0; i < kShifts; i++) {
                jacobians[0][i * kShifts + i] = 1 / u_[i];
            }
        }
        return true;
    }

private:
    double u_[kShifts];
};

// Pose from the first sighting and the nominal yaw, offset from the middle of the edges and of the touches.
void Start(const Model &model, const std::vector<Sight> &sights, const std::vector<Touch> &touches, double pose[], double tip[])
{
    const double c = std::cos(model.yaw), s = std::sin(model.yaw);
    double x = 0, y = 0, along_x = 0, along_y = 0, nx = 0, ny = 0;
    pose[0] = sights[0].x - c * sights[0].mark.x + s * sights[0].mark.y;
    pose[1] = sights[0].y - s * sights[0].mark.x - c * sights[0].mark.y;
    pose[2] = model.yaw;
    for (const Touch &touch : touches) {
        const double ex = touch.edge.nx, ey = touch.edge.ny;
        const double ux = c * (touch.x - pose[0]) + s * (touch.y - pose[1]), uy = -s * (touch.x - pose[0]) + c * (touch.y - pose[1]);
        along_x += ex * touch.edge.d - ex * ex * ux;
        along_y += ey * touch.edge.d - ey * ey * uy;
        nx += ex * ex;
        ny += ey * ey;
    }
    x = along_x / nx;
    y = along_y / ny;
    tip[0] = c * x - s * y;
    tip[1] = s * x + c * y;
}

bool SolveRun(const Model &model, const std::string &name, const std::string &path)
{
    std::vector<Sight> sights;
    std::vector<Touch> touches;
    double pose[kPose] = {}, tip[kTip] = {}, shifts[kShifts] = {}, covariance[kTip * kTip];
    ReadRun(path, model, &sights, &touches);
    Start(model, sights, touches, pose, tip);
    ceres::Problem problem;
    for (const Sight &sight : sights) {
        problem.AddResidualBlock(new SightCost(sight, model.u.at("sighting_u")), nullptr, pose, shifts);
    }
    for (const Touch &touch : touches) {
        problem.AddResidualBlock(new TouchCost(touch, model.u.at("touch_u")), new ceres::CauchyLoss(kCauchy), pose, tip, shifts);
    }
    problem.AddResidualBlock(new YawCost(model.yaw, model.u_yaw), nullptr, pose);
    problem.AddResidualBlock(new ShiftCost(model), nullptr, shifts);
    ceres::Solver::Options options;
    options.linear_solver_type = ceres::DENSE_QR;
    options.num_threads = 1;
    options.logging_type = ceres::SILENT;
    ceres::Covariance::Options covariance_options;
    covariance_options.algorithm_type = ceres::DENSE_SVD;
    ceres::Solver::Summary summary;
    const auto begun = std::chrono::steady_clock::now();
    ceres::Solve(options, &problem, &summary);
    ceres::Covariance estimate(covariance_options);
    const std::vector<std::pair<const double *, const double *>> blocks{{tip, tip}};
    const bool good = estimate.Compute(blocks, &problem) && estimate.GetCovarianceBlock(tip, tip, covariance);
    const std::chrono::duration<double> seconds = std::chrono::steady_clock::now() - begun;
    if (!good || !summary.IsSolutionUsable()) {
        return false;
    }
    std::printf("%s %.7f %.7f %.7f %.7f %.7f\n", name.c_str(), tip[0], tip[1], std::sqrt(covariance[0]),
                std::sqrt(covariance[kTip + 1]), seconds.count());
    return true;
}

} // namespace

int main(int argc, char *argv[])
{
    const std::string folder = argc > 1 ? argv[1] : ".";
    const Model model = ReadModel(folder + "/model.txt");
    for (int i = 2; i < argc; i++) {
        if (!SolveRun(model, argv[i], folder + "/" + argv[i])) {
            std::fprintf(stderr, "%s: no solution\n", argv[i]);
            return 1;
        }
    }
    return 0;
}

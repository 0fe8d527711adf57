// SPDX-License-Identifier: GPL-3.0-or-later
// Copyright (C) 2026 the tiptrue authors
// The same runs by the Ceres Solver: ceres_peer automatic|by-hand FOLDER RUN...
//
// The whole model of one tip (pose, offset, runout, radius, shifts of edges, group and mark with their priors), CauchyLoss on the
// touches at the scale that is 95 % efficient, covariance of the offset; derivatives of the touches automatic or by hand. One
// thread. Prints a line for each run: name, offset x, y, u of x, y, processor seconds of solve and covariance; reading the file and
// building the problem are not in them. FOLDER is one of make_runs.py. Built by bench.py where Ceres is installed, no part of the
// build.
#include <ceres/ceres.h>

#include <time.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <map>
#include <sstream>
#include <string>
#include <utility>
#include <vector>

namespace
{

constexpr double kCauchy = 2.385;
constexpr double kPi = 3.14159265358979323846;
// unknowns: m (2), beta | o (2), e (2), r | shifts: 4 edges, group (2), second mark (2)
constexpr int kPose = 3, kTip = 5, kEdges = 4, kShifts = kEdges + 4;

struct Model {
    std::map<std::string, double> u;
    double yaw = 0, u_yaw = 0;
    struct Mark {
        int index;
        double x, y;
    };
    struct Edge {
        int index;
        double nx, ny, d;
    };
    std::map<std::string, Mark> marks;
    std::map<std::string, Edge> edges;
};

struct Sight {
    Model::Mark mark;
    double x, y;
};
struct Touch {
    Model::Edge edge;
    double x, y, rotation;
};

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
            touches->push_back(
                {model.edges.at(cells[1]), std::stod(cells[3]), std::stod(cells[4]), std::stod(cells[5]) * kPi / 180});
        }
    }
}

// Costs as functors, for automatic derivatives: the way the solver's own documentation recommends.
struct SightModel {
    Sight sight;
    double u;
    template <typename T> bool operator()(const T *pose, const T *shifts, T *residuals) const
    {
        const T c = cos(pose[2]), s = sin(pose[2]);
        const int shift = kEdges + 2 * sight.mark.index; // of the second mark; the first has none
        const T x = sight.mark.x + (sight.mark.index > 0 ? shifts[shift] : T(0));
        const T y = sight.mark.y + (sight.mark.index > 0 ? shifts[shift + 1] : T(0));
        residuals[0] = (sight.x - pose[0] - c * x + s * y) / u;
        residuals[1] = (sight.y - pose[1] - s * x - c * y) / u;
        return true;
    }
};

struct TouchModel {
    Touch touch;
    double u, cos_rotation, sin_rotation;
    template <typename T> bool operator()(const T *pose, const T *tip, const T *shifts, T *residuals) const
    {
        const T c = cos(pose[2]), s = sin(pose[2]);
        const T nx = c * touch.edge.nx - s * touch.edge.ny, ny = s * touch.edge.nx + c * touch.edge.ny;
        const T x = touch.x + tip[0] + cos_rotation * tip[2] - sin_rotation * tip[3] - pose[0];
        const T y = touch.y + tip[1] + sin_rotation * tip[2] + cos_rotation * tip[3] - pose[1];
        const T shift = shifts[touch.edge.index] + touch.edge.nx * shifts[kEdges] + touch.edge.ny * shifts[kEdges + 1];
        residuals[0] = (nx * x + ny * y - touch.edge.d - shift - tip[4]) / u;
        return true;
    }
};

struct YawModel {
    double yaw, u;
    template <typename T> bool operator()(const T *pose, T *residuals) const
    {
        residuals[0] = (pose[2] - yaw) / u;
        return true;
    }
};

struct ShiftModel {
    double u[kShifts];
    template <typename T> bool operator()(const T *shifts, T *residuals) const
    {
        for (int i = 0; i < kShifts; i++) {
            residuals[i] = shifts[i] / u[i];
        }
        return true;
    }
};

// The touch once more with its derivatives by hand: as fast as the solver gets.
class TouchCost : public ceres::SizedCostFunction<1, kPose, kTip, kShifts>
{
  public:
    explicit TouchCost(const TouchModel &model) : model_(model)
    {
    }
    bool Evaluate(double const *const *p, double *residuals, double **jacobians) const override
    {
        const double u = model_.u, cr = model_.cos_rotation, sr = model_.sin_rotation;
        const Model::Edge &edge = model_.touch.edge;
        model_(p[0], p[1], p[2], residuals);
        if (jacobians == nullptr) {
            return true;
        }
        const double c = std::cos(p[0][2]), s = std::sin(p[0][2]);
        const double nx = c * edge.nx - s * edge.ny, ny = s * edge.nx + c * edge.ny;
        if (jacobians[0] != nullptr) {
            const double x = model_.touch.x + p[1][0] + cr * p[1][2] - sr * p[1][3] - p[0][0];
            const double y = model_.touch.y + p[1][1] + sr * p[1][2] + cr * p[1][3] - p[0][1];
            jacobians[0][0] = -nx / u;
            jacobians[0][1] = -ny / u;
            jacobians[0][2] = (nx * y - ny * x) / u;
        }
        if (jacobians[1] != nullptr) {
            const double tip[kTip] = {nx, ny, nx * cr + ny * sr, ny * cr - nx * sr, -1};
            for (int i = 0; i < kTip; i++) {
                jacobians[1][i] = tip[i] / u;
            }
        }
        if (jacobians[2] != nullptr) {
            std::fill(jacobians[2], jacobians[2] + kShifts, 0.0);
            jacobians[2][edge.index] = -1 / u;
            jacobians[2][kEdges] = -edge.nx / u;
            jacobians[2][kEdges + 1] = -edge.ny / u;
        }
        return true;
    }

  private:
    TouchModel model_;
};

ceres::CostFunction *NewTouch(const TouchModel &model, bool by_hand)
{
    if (by_hand) {
        return new TouchCost(model);
    }
    return new ceres::AutoDiffCostFunction<TouchModel, 1, kPose, kTip, kShifts>(new TouchModel(model));
}

void Build(const Model &model, const std::vector<Sight> &sights, const std::vector<Touch> &touches, bool by_hand, double pose[],
           double tip[], double shifts[], ceres::Problem *problem)
{
    for (const Sight &sight : sights) {
        problem->AddResidualBlock(
            new ceres::AutoDiffCostFunction<SightModel, 2, kPose, kShifts>(new SightModel{sight, model.u.at("sighting_u")}),
            nullptr, pose, shifts);
    }
    for (const Touch &touch : touches) {
        const TouchModel cost{touch, model.u.at("touch_u"), std::cos(touch.rotation), std::sin(touch.rotation)};
        problem->AddResidualBlock(NewTouch(cost, by_hand), new ceres::CauchyLoss(kCauchy), pose, tip, shifts);
    }
    problem->AddResidualBlock(new ceres::AutoDiffCostFunction<YawModel, 1, kPose>(new YawModel{model.yaw, model.u_yaw}), nullptr,
                              pose);
    ShiftModel shift{};
    for (int i = 0; i < kShifts; i++) {
        shift.u[i] = model.u.at(i < kEdges ? "edge_u" : i < kEdges + 2 ? "group_u" : "mark_u");
    }
    problem->AddResidualBlock(new ceres::AutoDiffCostFunction<ShiftModel, kShifts, kShifts>(new ShiftModel(shift)), nullptr,
                              shifts);
}

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
        const double ux = c * (touch.x - pose[0]) + s * (touch.y - pose[1]),
                     uy = -s * (touch.x - pose[0]) + c * (touch.y - pose[1]);
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

double ProcessorSeconds()
{
    timespec time{};
    clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &time);
    return static_cast<double>(time.tv_sec) + 1e-9 * static_cast<double>(time.tv_nsec);
}

bool SolveRun(const Model &model, bool by_hand, const std::string &name, const std::string &path)
{
    std::vector<Sight> sights;
    std::vector<Touch> touches;
    double pose[kPose] = {}, tip[kTip] = {}, shifts[kShifts] = {}, covariance[kTip * kTip];
    ReadRun(path, model, &sights, &touches);
    Start(model, sights, touches, pose, tip);
    ceres::Problem problem;
    Build(model, sights, touches, by_hand, pose, tip, shifts, &problem);
    ceres::Solver::Options options;
    options.linear_solver_type = ceres::DENSE_NORMAL_CHOLESKY; // with it and DENSE_SVD below it was fastest here
    options.num_threads = 1;
    options.logging_type = ceres::SILENT;
    ceres::Covariance::Options covariance_options;
    covariance_options.algorithm_type = ceres::DENSE_SVD;
    ceres::Solver::Summary summary;
    const std::vector<std::pair<const double *, const double *>> blocks{{tip, tip}};
    const double begun = ProcessorSeconds();
    ceres::Solve(options, &problem, &summary);
    ceres::Covariance estimate(covariance_options);
    const bool good = estimate.Compute(blocks, &problem) && estimate.GetCovarianceBlock(tip, tip, covariance);
    const double seconds = ProcessorSeconds() - begun;
    if (!good || !summary.IsSolutionUsable()) {
        return false;
    }
    std::printf("%s %.7f %.7f %.7f %.7f %.7f\n", name.c_str(), tip[0], tip[1], std::sqrt(covariance[0]),
                std::sqrt(covariance[kTip + 1]), seconds);
    return true;
}

} // namespace

int main(int argc, char *argv[])
{
    if (argc < 3) {
        std::fprintf(stderr, "usage: ceres_peer automatic|by-hand FOLDER RUN...\n");
        return 64;
    }
    const bool by_hand = std::string(argv[1]) == "by-hand";
    const std::string folder = argv[2];
    const Model model = ReadModel(folder + "/model.txt");
    for (int i = 3; i < argc; i++) {
        if (!SolveRun(model, by_hand, argv[i], folder + "/" + argv[i])) {
            std::fprintf(stderr, "%s: no solution\n", argv[i]);
            return 1;
        }
    }
    return 0;
}
